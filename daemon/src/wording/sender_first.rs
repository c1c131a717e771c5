//! Every text of every kind begins with who sends it (CTIA, Messaging Principles and Best Practices,
//! May 2023, 5.1: the sender is to be known from the message).

use super::Wording;
use super::gates::answers;
use super::samples::{Sample, ordinary, today, widest};
use super::text::{FieldRef, TextInput};
use furrowbell_config::people::Language;

const SENDER: &str = "Prairie Desk";

fn input<'a>(sample: &'a Sample, language: Language, name: &'a str, hint: bool) -> TextInput<'a> {
    TextInput {
        sender: SENDER,
        language,
        fields: vec![FieldRef { name, crop_is_corn: sample.corn }],
        evidence: &sample.evidence,
        version: sample.version,
        act_by: sample.act_by,
        provisional: sample.provisional,
        today: today(),
        stop_hint: hint,
        update: hint,
    }
}

#[test]
fn every_text_of_every_kind_begins_with_its_sender() {
    let wording = Wording::load().unwrap();
    let mut seen = 0;
    let mut holds = |what: &str, text: &str| {
        assert!(text.starts_with("Prairie Desk: "), "{what}: {text}");
        seen += 1;
    };
    for language in [Language::English, Language::Spanish] {
        for sample in ordinary().iter().chain(&widest()) {
            for hint in [false, true] {
                let one = input(sample, language, "North 80", hint);
                holds("news", &wording.text(&one));
                holds("taken back", &wording.withdrawal(&one));
                let both = [one, input(sample, language, "Creek 40", hint)];
                if let Some(text) = wording.bundle(&both) {
                    holds("several", &text);
                }
            }
        }
        answers(&["North 80"], "no rain in 5 days", "+15155550142", |name, answer| {
            holds(name, &wording.answer(SENDER, language, &answer));
        });
    }
    assert!(seen > 500, "{seen}");
}

/// What the first text must hold: name, kind, how often, cost, HELP and STOP (CTIA, 2023, 5.1.2.1).
#[test]
fn the_welcome_says_all_that_a_first_text_must() {
    let wording = Wording::load().unwrap();
    let welcome = super::answers::Answer::Welcome { most: 3 };
    let english = wording.answer(SENDER, Language::English, &welcome);
    for part in ["about your fields", "3 a day", "data rates may apply", "HELP", "STOP"] {
        assert!(english.contains(part), "no {part} in: {english}");
    }
    let spanish = wording.answer(SENDER, Language::Spanish, &welcome);
    for part in ["sus lotes", "3 al dia", "puede cobrar", "AYUDA", "ALTO"] {
        assert!(spanish.contains(part), "no {part} in: {spanish}");
    }
}

/// HELP tells who, what, how to end it and whom to ask (CTIA, 2023, 5.1.4).
#[test]
fn help_tells_who_what_how_to_stop_and_whom_to_ask() {
    let wording = Wording::load().unwrap();
    let help = super::answers::Answer::Help { contact: "desk@example.org", most: 3 };
    for (language, parts) in [
        (Language::English, ["Texts about your fields", "STOP", "desk@example.org"]),
        (Language::Spanish, ["Mensajes de sus lotes", "ALTO", "desk@example.org"]),
    ] {
        let text = wording.answer(SENDER, language, &help);
        assert!(parts.iter().all(|part| text.contains(part)), "{text}");
    }
}

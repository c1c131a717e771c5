//! What every text must keep, over every topic, language and value.

use super::answers::{Answer, NAMES, Pass};
use super::readability::sentences;
use super::rules::{self, Broken, Form, Keep};
use super::samples::{
    LONGEST_FIELD, LONGEST_SENDER, SENDER, Sample, TWELVE, answer_values, day, ordinary, today,
    widest,
};
use super::text::{FieldRef, TextInput};
use super::{Wording, dates, gsm7};
use crate::replies::grammar::{Reply, parse};
use furrowbell_config::people::Language;
use furrowbell_engine::clocks::Stage;
use furrowbell_engine::findings::Topic;
use furrowbell_engine::journal::Event;
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::units::{Inches, Millimetres, NitratePpm, PoundsPerAcre};
use minijinja::Value;

const BOTH: [Language; 2] = Language::ALL;

fn field<'a>(name: &'a str, sample: &Sample) -> FieldRef<'a> {
    FieldRef { name, crop_is_corn: sample.corn }
}

/// What a text of these findings must keep, told by the findings alone.
fn keep<'a>(text: &str, inputs: &[TextInput<'a>]) -> Keep<'a> {
    let said = text.to_lowercase();
    let urges_a_spray = ["post pass", " post "].iter().any(|words| said.contains(words));
    let names_a_chemical = Ingredient::ALL.iter().any(|one| said.contains(one.name()));
    let day = |input: &TextInput<'_>| {
        input.act_by.map(|by| gsm7::plain(&dates::day(input.language, by.max(today()))))
    };
    let rests_on_forecast =
        |input: &TextInput<'_>| input.provisional && input.evidence.topic() != Topic::WeatherGap;
    Keep {
        sender: inputs[0].sender,
        field: Some(inputs[0].fields[0].name),
        deadlines: inputs.iter().filter_map(day).collect(),
        likely: inputs.iter().any(rests_on_forecast),
        caution: urges_a_spray || names_a_chemical,
        replies: Vec::new(),
    }
}

/// The gates that hold for every text, ordinary or extreme.
fn holds(text: &str, form: Form, inputs: &[TextInput<'_>]) {
    let first = &inputs[0];
    let names: Vec<&str> =
        inputs.iter().flat_map(|input| &input.fields).map(|field| field.name).collect();
    let mut keep = keep(text, inputs);
    if form == Form::TakingBack {
        (keep.deadlines, keep.likely, keep.caution) = (Vec::new(), false, false);
    }
    let mut faults = rules::broken(text, &keep);
    faults.extend(rules::hard_to_read(text, form, first.language, &names));
    assert_eq!(faults, [], "{text}");
    assert!(gsm7::septets(text).is_some(), "outside the alphabet: {text}");
    let hinted = text.ends_with("STOP to end.") || text.ends_with("ALTO para salir.");
    assert_eq!(hinted, first.stop_hint, "{text}");
    asks_for_what_is_understood(text, first.language);
}

/// Every reply that a text asks for is one that the service reads, with or without a field.
fn asks_for_what_is_understood(text: &str, language: Language) {
    let mark = if language == Language::English { "Reply " } else { "Responda " };
    let (_, asked) = text.split_once(mark).expect("asks for a reply");
    let asked = sentences(asked)[0].trim_end_matches('.');
    let is_reply = |word: &str| {
        let one_letter = word.len() == 1 && word.chars().all(char::is_alphabetic);
        !one_letter
            && !word.chars().any(char::is_lowercase)
            && word.chars().any(char::is_alphanumeric)
    };
    let mut replies = vec![String::new()];
    for word in asked.split(' ') {
        let plain = word.trim_end_matches(',');
        match replies.last_mut() {
            Some(reply) if is_reply(plain) => *reply = format!("{reply} {plain}"),
            _ => replies.push(String::new()),
        }
        if plain != word {
            replies.push(String::new());
        }
    }
    replies.retain(|reply| !reply.is_empty());
    assert!(!replies.is_empty(), "no reply word in: {text}");
    for reply in replies {
        assert_ne!(parse(&reply), Reply::Unclear, "\"{reply}\" in: {text}");
    }
}

#[test]
fn ordinary_texts_fit_one_segment_and_read_easily() {
    let wording = Wording::load().unwrap();
    for sample in ordinary() {
        for language in BOTH {
            let input = sample.input(language, &["North 80"]);
            let text = wording.text(&input);
            holds(&text, Form::Telling, std::slice::from_ref(&input));
            assert_eq!(gsm7::segments(&text), 1, "{text}");
            let hinted = TextInput { stop_hint: true, ..input };
            holds(&wording.text(&hinted), Form::Telling, &[hinted]);
        }
    }
}

#[test]
fn the_widest_texts_keep_every_gate() {
    let wording = Wording::load().unwrap();
    for sample in widest().iter().chain(&ordinary()) {
        for language in BOTH {
            for (stop_hint, names) in [
                (false, vec![LONGEST_FIELD]),
                (true, vec![LONGEST_FIELD]),
                (true, vec![LONGEST_FIELD; 12]),
            ] {
                let input = TextInput {
                    sender: LONGEST_SENDER,
                    stop_hint,
                    update: true,
                    ..sample.input(language, &names)
                };
                holds(&wording.text(&input), Form::Telling, &[input]);
            }
        }
    }
}

#[test]
fn what_is_taken_back_keeps_the_gates_and_names_no_deadline() {
    let wording = Wording::load().unwrap();
    for sample in widest().iter().chain(&ordinary()) {
        for language in BOTH {
            for (sender, name) in [(SENDER, "North 80"), (LONGEST_SENDER, LONGEST_FIELD)] {
                let input = TextInput { sender, ..sample.input(language, &[name]) };
                let text = wording.withdrawal(&input);
                holds(&text, Form::TakingBack, &[input]);
                let most = if name == "North 80" { 1 } else { 2 };
                assert!(gsm7::segments(&text) <= most, "{text}");
                let update = if language == Language::English { "Update:" } else { "Correccion:" };
                assert!(text.contains(update), "{text}");
            }
        }
    }
}

/// What a text of several findings keeps: beside the gates, every field.
fn bundle_holds(text: &str, inputs: &[TextInput<'_>]) {
    holds(text, Form::Several, inputs);
    for input in inputs {
        assert!(input.fields.iter().all(|field| text.contains(field.name)), "{text}");
    }
}

#[test]
fn every_two_findings_make_a_text_that_keeps_the_gates_or_none() {
    let wording = Wording::load().unwrap();
    let ordinary = ordinary();
    let mut told = 0;
    for language in BOTH {
        for (number, one) in ordinary.iter().enumerate() {
            for other in &ordinary[number..] {
                let later = other.act_by.map(|by| by + chrono::TimeDelta::days(2));
                let inputs = [
                    one.input(language, &["North 80"]),
                    TextInput { act_by: later, ..other.input(language, &["Creek 40"]) },
                ];
                let Some(text) = wording.bundle(&inputs) else { continue };
                bundle_holds(&text, &inputs);
                told += 1;
            }
        }
    }
    assert!(told > 1000, "{told}");
}

#[test]
fn the_widest_of_one_topic_keep_the_gates_or_stay_apart() {
    let wording = Wording::load().unwrap();
    for sample in widest().iter().chain(&ordinary()) {
        for language in BOTH {
            let of = |name| TextInput {
                sender: LONGEST_SENDER,
                stop_hint: true,
                ..sample.input(language, &[name])
            };
            let inputs = [of(LONGEST_FIELD), of("Long Old Orchard Lane 80")];
            if let Some(text) = wording.bundle(&inputs) {
                bundle_holds(&text, &inputs);
            }
        }
    }
}

#[test]
fn twelve_fields_in_one_text_keep_the_gates_or_stay_apart() {
    let wording = Wording::load().unwrap();
    let mut told = 0;
    for sample in &ordinary() {
        for language in BOTH {
            let inputs = TWELVE.map(|name| sample.input(language, &[name]));
            if let Some(text) = wording.bundle(&inputs) {
                bundle_holds(&text, &inputs);
                told += 1;
            }
            let input = sample.input(language, &TWELVE);
            holds(&wording.text(&input), Form::Telling, &[input]);
        }
    }
    assert!(told > 50, "{told}");
}

#[test]
fn every_topic_has_a_sample_and_a_short_name() {
    let wording = Wording::load().unwrap();
    for topic in Topic::ALL {
        assert!(ordinary().iter().any(|sample| sample.evidence.topic() == topic));
        for language in BOTH {
            let name = wording.topic_name(language, topic);
            assert!((3..=24).contains(&name.chars().count()), "{name}");
        }
    }
}

#[test]
fn several_fields_are_named_as_far_as_they_fit() {
    let wording = Wording::load().unwrap();
    let samples = ordinary();
    let sample = samples.iter().find(|s| s.evidence.topic() == Topic::RainSet).unwrap();
    let fields = |names: &[&'static str]| names.iter().map(|name| field(name, sample)).collect();
    let head = |names: &[&'static str]| {
        let input = sample.input(Language::English, &[]);
        let text = wording.text(&TextInput { fields: fields(names), ..input });
        assert_eq!(gsm7::segments(&text), 1, "{text}");
        text.split_once(". ").unwrap().0.to_owned()
    };
    assert_eq!(head(&["North 80"]), "Prairie Desk: North 80 beans");
    assert_eq!(head(&["North Beans"]), "Prairie Desk: North Beans");
    assert_eq!(head(&["North 80", "Creek 40"]), "Prairie Desk: North 80 and Creek 40");
    assert_eq!(
        head(&["North 80", "Creek 40", "Home Quarter", "Sand Hill 160", "Mill Road", "Bottom"]),
        "Prairie Desk: North 80, Creek 40, Home Quarter and 3 more"
    );
}

#[test]
fn a_waiting_pre_is_told_differently_each_time() {
    let wording = Wording::load().unwrap();
    let samples = ordinary();
    let sample = samples.iter().find(|s| s.evidence.topic() == Topic::RainNeeded).unwrap();
    let told = |version| {
        let input = sample.input(Language::English, &["North 80"]);
        wording.text(&TextInput { version, ..input })
    };
    assert!(told(1).contains("Look for small weeds by Sat May 23."));
    assert!(told(2).contains("rotary hoe"));
    assert!(told(3).contains("early post pass") && told(3).contains("Follow the label."));
}

#[test]
fn answers_stay_within_two_segments() {
    let wording = Wording::load().unwrap();
    let many = [LONGEST_FIELD; 40];
    let reason = "0.7 in rain in 112 days, needs 0.75 in (cloransulam-methyl)";
    let contact = "office@prairie-field-desk.example";
    for language in BOTH {
        answers(&many, reason, contact, |name, answer| {
            let text = wording.answer(LONGEST_SENDER, language, &answer);
            assert!(gsm7::segments(&text) <= 2, "{name}: {text}");
            answer_holds(name, &text, LONGEST_SENDER, language);
        });
    }
}

#[test]
fn every_ordinary_answer_fits_one_segment() {
    let wording = Wording::load().unwrap();
    for language in BOTH {
        answers(&["North 80", "Creek 40"], "no rain in 5 days", "+15155550142", |name, answer| {
            let text = wording.answer("Prairie Desk", language, &answer);
            assert_eq!(gsm7::segments(&text), 1, "{name}: {text}");
        });
    }
}

/// Every answer there is a wording for, with every slot as wide as can be.
#[test]
fn every_wording_of_an_answer_keeps_the_gates() {
    let wording = Wording::load().unwrap();
    let whole = |name: &str| !name.starts_with("pass_") && name != "or";
    for language in BOTH {
        let values = Value::from(answer_values(language, true));
        for name in NAMES.into_iter().filter(|name| whole(name)) {
            let said = wording.say(language, &format!("answers.{name}"), values.clone());
            answer_holds(name, &gsm7::plain(&said), LONGEST_SENDER, language);
        }
    }
}

/// What an answer keeps; one that is put together from what others wrote may be hard to read.
fn answer_holds(name: &str, text: &str, sender: &str, language: Language) {
    let keep = Keep { sender, ..Keep::default() };
    let mut faults = rules::broken(text, &keep);
    let names = [LONGEST_FIELD, "office@prairie-field-desk.example", "Bartholomew Featherstone"];
    faults.extend(rules::hard_to_read(text, Form::Answer, language, &names));
    faults.retain(|fault| name != "why" || *fault == Broken::Sender);
    assert_eq!(faults, [], "{name}: {text}");
    assert!(gsm7::septets(text).is_some() && gsm7::segments(text) <= 2, "{name}: {text}");
}

pub(super) fn answers(
    fields: &[&str],
    reason: &str,
    contact: &str,
    mut each: impl FnMut(&str, Answer<'_>),
) {
    let date = day(-1);
    let (amount, height) = (Millimetres::from_inches(0.45), Inches::new(2.0));
    let nitrogen = Some(PoundsPerAcre::new(110.0).unwrap());
    let until = day(3);
    for (name, event) in [
        ("rain", Event::Rain { amount: amount.unwrap() }),
        ("stage", Event::StageSeen { stage: Stage::Vegetative(3) }),
        ("weed-free", Event::WeedsSeen { height: Inches::new(0.0).unwrap() }),
        ("weeds", Event::WeedsSeen { height: height.unwrap() }),
        ("nitrate", Event::NitrateTest { ppm: NitratePpm::new(18.0).unwrap() }),
        ("planted", Event::Planted),
        ("pre", Event::PreApplied { ingredients: Vec::new() }),
        ("post", Event::PostApplied { ingredients: Vec::new() }),
        ("starter", Event::StarterApplied { nitrogen, source: None }),
        ("sidedress", Event::Sidedressed { nitrogen: None }),
        ("sidedress, pounds", Event::Sidedressed { nitrogen }),
        ("hoed", Event::Hoed),
        ("hold", Event::Hold { topic: None, until }),
        ("hold, topic", Event::Hold { topic: Some(Topic::RainNeeded), until }),
    ] {
        each(name, Answer::Recorded { event: &event, date, fields });
    }
    let passes = &[Pass::Pre, Pass::Post, Pass::Sidedress, Pass::Hoe];
    each("which field", Answer::AskField { fields });
    each("which pass", Answer::AskPass { fields, passes });
    each("which day", Answer::AskDay);
    each("nothing open", Answer::NothingOpen { fields: &[] });
    each("nothing open, field", Answer::NothingOpen { fields });
    each("why", Answer::Why { fields, reason, contact });
    each("why, nothing told", Answer::NothingTold { contact });
    each("not understood", Answer::NotUnderstood);
    each("help", Answer::Help { contact, most: 3 });
    each("stopped", Answer::Stopped);
    let (name, topic) = ("Ray Holt", "post overdue");
    each("not arrived", Answer::NotArrived { name, topic, fields });
    each("started", Answer::Started);
    each("welcome", Answer::Welcome { most: 3 });
    each("keep", Answer::Keep);
    each("number gone", Answer::NumberGone { name });
}

#[test]
fn each_gate_can_fail() {
    let day = "Wed May 27".to_owned();
    let keep = Keep {
        sender: SENDER,
        field: Some("North 80"),
        deadlines: vec![day],
        likely: true,
        caution: true,
        replies: vec!["DONE".to_owned()],
    };
    let sound = "Prairie Desk: North 80. Rain likely set your pre. Plan the post pass by Wed May \
                 27. Reply DONE. Follow the label.";
    assert_eq!(rules::broken(sound, &keep), []);
    let late = format!("Prairie Desk: {} North 80.", "so it is. ".repeat(9));
    for (from, to, rule) in [
        ("Prairie Desk: ", "", Broken::Sender),
        ("Prairie Desk: North 80.", &*late, Broken::Field),
        ("North 80", "A field", Broken::Field),
        (" by Wed May 27", " by Wed", Broken::Deadline),
        (" by Wed May 27", " by May 27", Broken::Deadline),
        ("likely ", "", Broken::Certain),
        ("DONE", "when done", Broken::Reply("DONE".to_owned())),
        (" Follow the label.", "", Broken::Caution),
        (" Follow the label.", " It has a label.", Broken::Caution),
        ("Follow", "You may spray. Follow", Broken::Permits("you may")),
        ("label.", &*"label. ".repeat(40), Broken::Segments(3)),
        ("likely", "likely \u{2192} \u{2192} \u{2192}", Broken::Segments(2)),
    ] {
        let spoiled = sound.replacen(from, to, 1);
        let broken = rules::broken(&spoiled, &keep);
        let two = matches!(rule, Broken::Segments(2));
        assert!(broken.contains(&rule) || (two && gsm7::septets(&spoiled).is_none()), "{spoiled}");
    }
    let read =
        |text: &str| rules::hard_to_read(text, Form::Telling, Language::English, &["North 80"]);
    assert_eq!(read(sound), []);
    for (from, to, rule) in [
        ("Rain", "An advisory: rain", Broken::Misleading("advisory")),
        ("Wed May 27", "tomorrow", Broken::Misleading("tomorrow")),
        ("your pre.", "your pre .", Broken::Spaces),
        ("Wed May 27", "5/27", Broken::NumericDate),
        (
            "set your pre",
            "set the pre that you put on there in the week of May 4",
            Broken::LongSentence(16),
        ),
        ("Rain", "Look for weeds. Rain", Broken::Actions(2)),
        ("Plan the", "It is time for a", Broken::Actions(0)),
        ("DONE.", "DONE. Reply OK.", Broken::Asks(2)),
        ("Reply DONE.", "Say so.", Broken::Asks(0)),
        ("set your pre", "was agronomically enough", Broken::HardWord("agronomically".to_owned())),
    ] {
        let spoiled = sound.replacen(from, to, 1);
        assert!(read(&spoiled).contains(&rule), "{:?}: {spoiled}", read(&spoiled));
    }
    let hard = "Prairie Desk: North 80. Precipitation presumably activated residual herbicides. \
                Reconsider postemergence applications. Reply DONE.";
    assert!(matches!(read(hard).last(), Some(Broken::Grade(grade)) if *grade > 6.0));
    assert_eq!(rules::unspeakable("Temp \u{2192} 40"), Some(Broken::Alphabet('\u{2192}')));
    assert_eq!(rules::unspeakable("\u{201c}40\u{b0}F\u{201d} \u{2013} ma\u{ed}z?"), None);
}

//! What every text must keep, over every topic, language and value.

use super::answers::{Answer, Pass};
use super::readability::{grade, sentences, syllables, words};
use super::samples::{Sample, day, ordinary, today, widest};
use super::text::{FieldRef, TextInput};
use super::{Wording, dates, gsm7};
use furrowbell_config::people::Language;
use furrowbell_engine::clocks::Stage;
use furrowbell_engine::findings::Topic;
use furrowbell_engine::journal::Event;
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::units::{Inches, Millimetres, NitratePpm, PoundsPerAcre};
use std::fmt::Write;

const BOTH: [Language; 2] = [Language::English, Language::Spanish];
/// As long as the book allows a field's name to be.
const LONGEST_FIELD: &str = "Old Schoolhouse Bottom 9";
const LONGEST_SENDER: &str = "Prairie Field Desk 2";

/// Words that misled readers of public alerts, trade jargon, and anything that permits a spray.
const BANNED: [&str; 22] = [
    "anthesis",
    "conducive",
    "prophylactic",
    "phenology",
    "inoculum",
    "advisory",
    "watch",
    "warning",
    "tonight",
    "tomorrow",
    "you may",
    "may spray",
    "can spray",
    "allowed",
    "safe to",
    "puede aplicar",
    "aviso",
    "alerta",
    "mañana",
    " mm",
    "undefined",
    "none",
];

fn input<'a>(sample: &'a Sample, language: Language, fields: Vec<FieldRef<'a>>) -> TextInput<'a> {
    TextInput {
        sender: "Prairie Desk",
        language,
        fields,
        evidence: &sample.evidence,
        version: sample.version,
        act_by: sample.act_by,
        provisional: sample.provisional,
        today: today(),
        stop_hint: false,
        update: false,
    }
}

fn field<'a>(name: &'a str, sample: &Sample) -> FieldRef<'a> {
    FieldRef { name, crop_is_corn: sample.corn }
}

/// Whether the word is of our choosing: neither a number nor an ingredient.
fn is_ours(word: &str) -> bool {
    word.chars().any(char::is_alphabetic)
        && !Ingredient::ALL.iter().any(|ingredient| word.contains(ingredient.name()))
}

/// The gates that hold for every text, ordinary or extreme.
fn holds_always(text: &str, input: &TextInput<'_>) {
    assert!(gsm7::septets(text).is_some(), "outside the alphabet: {text}");
    assert!(gsm7::segments(text) <= 2, "too long: {text}");
    assert!(!text.contains("  ") && !text.contains(" .") && !text.contains(" ,"), "{text}");
    let said = text.to_lowercase();
    for word in BANNED {
        assert!(!said.contains(word), "\"{word}\" in: {text}");
    }
    assert!(text.starts_with(input.sender), "{text}");
    let name = text.find(input.fields[0].name).expect("names the field");
    assert!(name + input.fields[0].name.len() <= 90, "field named late: {text}");
    let (_head, prose) = text.split_once(". ").expect("more than its head");
    for sentence in sentences(prose) {
        assert!(words(sentence).len() <= 14, "long sentence \"{sentence}\" in: {text}");
    }
    if let Some(act_by) = input.act_by {
        let deadline = gsm7::plain(&dates::day(input.language, act_by.max(today())));
        assert!(text.contains(&deadline), "no deadline {deadline} in: {text}");
    }
    let urges_a_spray = said.contains("post pass") || said.contains(" post ");
    let names_a_chemical = Ingredient::ALL.iter().any(|one| said.contains(one.name()));
    if urges_a_spray || names_a_chemical {
        let cautions =
            ["Follow the label.", "Check your label.", "Siga la etiqueta.", "Vea su etiqueta."];
        assert!(cautions.iter().any(|caution| text.contains(caution)), "no caution: {text}");
    }
    if input.provisional && input.evidence.topic() != Topic::WeatherGap {
        let hedges = ["likely", "probable", "quiza"];
        assert!(hedges.iter().any(|hedge| said.contains(hedge)), "sounds certain: {text}");
    }
    assert_eq!(actions(&said).len(), 1, "not one action ({:?}): {text}", actions(&said));
    let asked = said.matches("reply ").count() + said.matches("responda ").count();
    assert_eq!(asked, 1, "not one reply: {text}");
    let hinted = text.ends_with("STOP to end.") || text.ends_with("ALTO para salir.");
    assert_eq!(hinted, input.stop_hint, "{text}");
}

/// The sentences that tell to do something in the field, by the verb they open with.
fn actions(said: &str) -> Vec<&str> {
    const VERBS: [&str; 28] = [
        "check the",
        "work it in",
        "incorpore",
        "dig",
        "desentierre",
        "look",
        "hoe",
        "get",
        "plan",
        "finish",
        "call",
        "sidedress",
        "read",
        "spray",
        "revise",
        "busque",
        "rastree",
        "aliste",
        "planee",
        "termine",
        "llamenos",
        "abone",
        "lea",
        "cover",
        "apply",
        "aplique",
        "plant ",
        "siembre",
    ];
    sentences(said)
        .into_iter()
        .filter(|sentence| VERBS.iter().any(|verb| sentence.starts_with(verb)))
        .collect()
}

#[test]
fn ordinary_texts_fit_one_segment_and_read_easily() {
    let wording = Wording::load().unwrap();
    for sample in ordinary() {
        for language in BOTH {
            let input = input(&sample, language, vec![field("North 80", &sample)]);
            let text = wording.text(&input);
            holds_always(&text, &input);
            assert_eq!(gsm7::segments(&text), 1, "{text}");
            let hinted = TextInput { stop_hint: true, ..input };
            holds_always(&wording.text(&hinted), &hinted);
            if language == Language::English {
                assert!(grade(&text) <= 6.0, "grade {}: {text}", grade(&text));
                for word in words(&text).into_iter().filter(|word| is_ours(word)) {
                    assert!(syllables(word) <= 3, "hard word \"{word}\" in: {text}");
                }
            }
        }
    }
}

#[test]
fn the_widest_texts_stay_within_two_segments() {
    let wording = Wording::load().unwrap();
    for sample in widest().iter().chain(&ordinary()) {
        for language in BOTH {
            for stop_hint in [false, true] {
                for fields in [1, 9] {
                    let input = TextInput {
                        sender: LONGEST_SENDER,
                        stop_hint,
                        update: true,
                        ..input(sample, language, vec![field(LONGEST_FIELD, sample); fields])
                    };
                    holds_always(&wording.text(&input), &input);
                }
            }
        }
    }
}

#[test]
fn what_is_taken_back_keeps_the_gates_and_names_no_deadline() {
    let wording = Wording::load().unwrap();
    for sample in widest().iter().chain(&ordinary()) {
        for language in BOTH {
            for (sender, name) in [("Prairie Desk", "North 80"), (LONGEST_SENDER, LONGEST_FIELD)] {
                let fields = vec![field(name, sample)];
                let input = TextInput { sender, ..input(sample, language, fields) };
                let text = wording.withdrawal(&input);
                let most = if name == "North 80" { 1 } else { 2 };
                assert!(gsm7::segments(&text) <= most, "{text}");
                let update = if language == Language::English { "Update:" } else { "Correccion:" };
                assert!(text.contains(update), "{text}");
                let said = text.to_lowercase();
                assert!(BANNED.iter().all(|word| !said.contains(word)), "{text}");
                let (_head, prose) = text.split_once(". ").unwrap();
                assert!(sentences(prose).iter().all(|one| words(one).len() <= 14), "{text}");
                assert!(actions(&said).len() <= 1, "{text}");
                let asked = said.matches("reply ").count() + said.matches("responda ").count();
                assert_eq!(asked, 1, "{text}");
                if language == Language::English && name == "North 80" {
                    assert!(grade(&text) <= 6.0, "grade {}: {text}", grade(&text));
                }
            }
        }
    }
}

/// The parts of a text that are read one by one: sentences, and the entries of a list.
fn read_apart(prose: &str) -> Vec<String> {
    let prose = prose.replace('\n', " ");
    let parts = sentences(&prose).into_iter().flat_map(|one| one.split([':', ',']));
    parts.map(str::to_owned).collect()
}

/// What a text of several findings keeps; every one of them in it with its field and deadline.
fn bundle_holds(text: &str, inputs: &[TextInput<'_>]) {
    let first = &inputs[0];
    assert!(gsm7::segments(text) <= 2, "too long: {text}");
    assert!(!text.contains("  ") && !text.contains(" .") && !text.contains(" ,"), "{text}");
    let said = text.to_lowercase();
    for word in BANNED {
        assert!(!said.contains(word), "\"{word}\" in: {text}");
    }
    assert!(text.starts_with(first.sender), "{text}");
    let name = text.find(first.fields[0].name).expect("names the field");
    assert!(name + first.fields[0].name.len() <= 90, "field named late: {text}");
    // A name is read at one glance, however many words it has.
    let names = inputs.iter().flat_map(|input| &input.fields);
    let short = names.fold(text.to_owned(), |said, field| said.replace(field.name, "Field"));
    for part in read_apart(&short) {
        assert!(words(&part).len() <= 14, "long part \"{part}\" in: {text}");
    }
    for input in inputs {
        assert!(input.fields.iter().all(|field| text.contains(field.name)), "{text}");
        if let Some(act_by) = input.act_by {
            let deadline = gsm7::plain(&dates::day(input.language, act_by.max(today())));
            assert!(text.contains(&deadline), "no deadline {deadline} in: {text}");
        }
    }
    let urges_a_spray = said.contains("post pass") || said.contains(" post ");
    if urges_a_spray || Ingredient::ALL.iter().any(|one| said.contains(one.name())) {
        let cautions =
            ["Follow the label.", "Check your label.", "Siga la etiqueta.", "Vea su etiqueta."];
        assert!(cautions.iter().any(|caution| text.contains(caution)), "no caution: {text}");
    }
    if inputs.iter().any(|one| one.provisional && one.evidence.topic() != Topic::WeatherGap) {
        let hedges = ["likely", "probable", "quiza"];
        assert!(hedges.iter().any(|hedge| said.contains(hedge)), "sounds certain: {text}");
    }
    let asked = said.matches("reply ").count() + said.matches("responda ").count();
    assert_eq!(asked, 1, "not one reply: {text}");
    let hinted = text.ends_with("STOP to end.") || text.ends_with("ALTO para salir.");
    assert_eq!(hinted, first.stop_hint, "{text}");
    if first.language == Language::English {
        let plain = text.replace([':', ','], ".").replace('\n', " ");
        assert!(grade(&plain) <= 6.0, "grade {}: {text}", grade(&plain));
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
                    input(one, language, vec![field("North 80", one)]),
                    TextInput {
                        act_by: later,
                        ..input(other, language, vec![field("Creek 40", other)])
                    },
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
            let of = |name, hint| TextInput {
                sender: LONGEST_SENDER,
                stop_hint: hint,
                ..input(sample, language, vec![field(name, sample)])
            };
            let inputs = [of(LONGEST_FIELD, true), of("Long Old Orchard Bottom 80", true)];
            if let Some(text) = wording.bundle(&inputs) {
                bundle_holds(&text, &inputs);
            }
        }
    }
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
        let text = wording.text(&input(sample, Language::English, fields(names)));
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
        let fields = vec![field("North 80", sample)];
        wording.text(&TextInput { version, ..input(sample, Language::English, fields) })
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
            let said = text.strip_prefix(LONGEST_SENDER).unwrap().trim_start_matches(':');
            for sentence in sentences(said) {
                let length = words(sentence).len();
                assert!(length <= 14 || sentence.contains(LONGEST_FIELD), "{sentence}");
            }
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

fn answers(fields: &[&str], reason: &str, contact: &str, mut each: impl FnMut(&str, Answer<'_>)) {
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
}

/// A sheet of everything the service says, to be read by people.
#[test]
fn sheet() {
    let wording = Wording::load().unwrap();
    for language in BOTH {
        let mut sheet = String::new();
        for topic in Topic::ALL {
            writeln!(sheet, "## {}", topic.name()).unwrap();
            for sample in ordinary().iter().filter(|s| s.evidence.topic() == topic) {
                let input = input(sample, language, vec![field("North 80", sample)]);
                let text = wording.text(&input);
                let septets = gsm7::septets(&text).unwrap();
                let line = wording.line(&input);
                writeln!(sheet, "{septets:>3}  {text}\n     digest: {line}").unwrap();
            }
            writeln!(sheet).unwrap();
        }
        writeln!(sheet, "## several fields").unwrap();
        for sample in &ordinary() {
            let inputs = [
                input(sample, language, vec![field("North 80", sample)]),
                TextInput {
                    act_by: sample.act_by.map(|by| by + chrono::TimeDelta::days(2)),
                    ..input(sample, language, vec![field("Creek 40", sample)])
                },
            ];
            let text = wording.bundle(&inputs).unwrap();
            writeln!(sheet, "{:>3}  {text}", gsm7::septets(&text).unwrap()).unwrap();
        }
        writeln!(sheet).unwrap();
        writeln!(sheet, "## several topics").unwrap();
        for pair in ordinary().chunks(2) {
            let named = pair.iter().zip(["North 80", "Creek 40"]);
            let inputs: Vec<_> = named
                .map(|(sample, name)| input(sample, language, vec![field(name, sample)]))
                .collect();
            if let Some(text) = wording.bundle(&inputs).filter(|_| inputs.len() > 1) {
                let text = text.replace('\n', "\n     ");
                writeln!(sheet, "{:>3}  {text}", gsm7::septets(&text).unwrap()).unwrap();
            }
        }
        writeln!(sheet).unwrap();
        writeln!(sheet, "## answers").unwrap();
        answers(&["North 80", "Creek 40"], "no rain in 5 days", "+15155550142", |name, answer| {
            let text = wording.answer("Prairie Desk", language, &answer);
            let septets = gsm7::septets(&text).unwrap();
            writeln!(sheet, "{septets:>3}  {name}: {text}").unwrap();
        });
        insta::assert_snapshot!(format!("sheet_{}", language.code()), sheet);
    }
}

use super::*;
use crate::replies::grammar::parse;
use chrono::TimeDelta;
use furrowbell_engine::clocks::Stage;
use proptest::prelude::*;

fn today() -> NaiveDate {
    // A Wednesday.
    "2026-05-20".parse().unwrap()
}

fn own(names: &[&str]) -> Vec<OwnField> {
    let field = |name: &&str| OwnField { id: format!("farm/{name}"), name: (*name).to_owned() };
    names.iter().map(field).collect()
}

/// A question raised so many hours after the first.
fn question(field: &str, topic: Topic, hours: i64) -> OpenQuestion {
    let first: DateTime<Utc> = "2026-05-18T12:00:00Z".parse().unwrap();
    OpenQuestion {
        notice_id: format!("{field}:{}", topic.name()),
        field_id: format!("farm/{field}"),
        topic,
        raised_at: first + TimeDelta::hours(hours),
    }
}

fn reply(text: &str, own: &[OwnField], open: &[OpenQuestion]) -> Effects {
    decide(&parse(text), own, open, today())
}

fn entries(effects: &Effects) -> Vec<(&str, &str, &Event)> {
    let day = |entry: &Entry| match (today() - entry.date).num_days() {
        0 => "today",
        1 => "yesterday",
        _ => "earlier",
    };
    effects.entries.iter().map(|(id, entry)| (id.as_str(), day(entry), &entry.event)).collect()
}

const POST: Event = Event::PostApplied { ingredients: Vec::new() };

fn asked_fields(effects: &Effects) -> Vec<&str> {
    assert!(effects.entries.is_empty() && effects.closes.is_empty(), "{effects:?}");
    match &effects.answer {
        Answer::AskField { fields } => fields.iter().map(String::as_str).collect(),
        other => panic!("{other:?}"),
    }
}

#[test]
fn done_settles_the_latest_question_and_its_kin() {
    let own = own(&["North 80", "Home"]);
    let open = [
        question("North 80", Topic::ResidualEnding, 0),
        question("North 80", Topic::PostOpen, 24),
        question("North 80", Topic::SidedressOpen, 12),
        question("Home", Topic::PostOpen, 6),
    ];
    let effects = reply("Done yesterday", &own, &open);
    assert_eq!(entries(&effects), [("farm/North 80", "yesterday", &POST)]);
    assert_eq!(effects.closes, ["North 80:residual-ending", "North 80:post-open"]);
    let date = today().pred_opt().unwrap();
    let fields = vec!["North 80".to_owned()];
    assert_eq!(effects.answer, Answer::Recorded { event: POST, date, fields });
}

#[test]
fn done_means_what_the_topic_asks_for() {
    let own = own(&["Home"]);
    for (topic, event) in [
        (Topic::RainSet, POST),
        (Topic::PostOpen, POST),
        (Topic::PostClosing, POST),
        (Topic::PostOverdue, POST),
        (Topic::SprayHours, POST),
        (Topic::ResidualEnding, POST),
        (Topic::SidedressOpen, Event::Sidedressed { nitrogen: None }),
        (Topic::SidedressClosing, Event::Sidedressed { nitrogen: None }),
        (Topic::SurfaceUrea, Event::Hoed),
        (Topic::NitrogenLoss, Event::Sidedressed { nitrogen: None }),
        (Topic::RainNeeded, Event::Hoed),
    ] {
        let effects = reply("HECHO", &own, &[question("Home", topic, 0)]);
        assert_eq!(entries(&effects), [("farm/Home", "today", &event)], "{topic:?}");
        assert_eq!(effects.closes.len(), 1);
    }
    let told_only = reply("done", &own, &[question("Home", Topic::Emergence, 0)]);
    assert_eq!(told_only, Effects::only(Answer::NothingOpen { fields: vec![] }));
}

#[test]
fn one_text_about_two_fields_is_asked_back_until_it_is_clear() {
    let own = own(&["North 80", "Home", "Hill"]);
    let open = [
        question("North 80", Topic::PostOpen, 5),
        question("Home", Topic::PostOpen, 5),
        question("Hill", Topic::PostOpen, 0),
    ];
    assert_eq!(asked_fields(&reply("done", &own, &open)), ["North 80", "Home"]);
    let one = reply("done home", &own, &open);
    assert_eq!(entries(&one), [("farm/Home", "today", &POST)]);
    assert_eq!(one.closes, ["Home:post-open"]);
    assert_eq!(reply("done home and north 80", &own, &open).closes.len(), 2);
    assert_eq!(reply("DONE ALL", &own, &open).closes.len(), 3);
}

#[test]
fn a_field_that_cannot_be_told_is_asked_back() {
    let own = own(&["North 80", "South 80", "Home"]);
    let open = [question("Home", Topic::PostOpen, 0)];
    assert_eq!(asked_fields(&reply("done 80", &own, &open)), ["North 80", "South 80"]);
    assert_eq!(asked_fields(&reply("done creek", &own, &open)), ["North 80", "South 80", "Home"]);
    assert_eq!(asked_fields(&reply("done home, creek", &own, &open)).len(), 3);
    assert_eq!(asked_fields(&reply("rain .6", &own, &open)).len(), 3);
    assert_eq!(asked_fields(&reply("planted 4/28", &own, &open)).len(), 3);
}

#[test]
fn the_pass_is_asked_back_when_two_could_be_meant() {
    let own = own(&["North 80", "Home"]);
    let open = [question("Home", Topic::PostOpen, 0), question("Home", Topic::SidedressOpen, 0)];
    let ask = |fields: &[&str], passes: &[Pass]| {
        let fields = fields.iter().map(|name| (*name).to_owned()).collect();
        Effects::only(Answer::AskPass { fields, passes: passes.to_vec() })
    };
    assert_eq!(reply("done", &own, &open), ask(&["Home"], &[Pass::Post, Pass::Sidedress]));
    assert_eq!(entries(&reply("sprayed", &own, &open)), [("farm/Home", "today", &POST)]);
    let sidedressed = reply("sidedressed yesterday", &own, &open);
    assert_eq!(sidedressed.closes, ["Home:sidedress-open"]);
    assert_eq!(
        reply("sprayed north 80", &own, &open),
        ask(&["North 80"], &[Pass::Pre, Pass::Post])
    );
    let pre = Event::PreApplied { ingredients: vec![] };
    let effects = reply("pre done north 80", &own, &open);
    assert_eq!(entries(&effects), [("farm/North 80", "today", &pre)]);
    assert!(effects.closes.is_empty());
}

#[test]
fn what_nobody_asked_for_is_not_recorded_under_a_guess() {
    let own = own(&["North 80", "Home"]);
    let open = [question("Home", Topic::PostOpen, 0)];
    let nothing = |fields: &[&str]| {
        let fields = fields.iter().map(|name| (*name).to_owned()).collect();
        Effects::only(Answer::NothingOpen { fields })
    };
    assert_eq!(reply("done north 80", &own, &open), nothing(&["North 80"]));
    assert_eq!(reply("done", &own, &[]), nothing(&[]));
    assert_eq!(reply("sprayed", &own, &[]), nothing(&[]));
    assert_eq!(asked_fields(&reply("sidedressed", &own, &[])).len(), 2);
    assert_eq!(reply("done", &[], &open).answer, Answer::NotUnderstood);
}

#[test]
fn what_was_seen_goes_to_the_one_field_it_can_mean() {
    let one = own(&["Home"]);
    let rain = Event::Rain { amount: Millimetres::new(12.7).unwrap() };
    assert_eq!(entries(&reply("rain 0.5", &one, &[])), [("farm/Home", "today", &rain)]);
    let stage = Event::StageSeen { stage: Stage::Vegetative(4) };
    assert_eq!(entries(&reply("v4 yesterday", &one, &[])), [("farm/Home", "yesterday", &stage)]);

    let two = own(&["North 80", "Home"]);
    let open =
        [question("Home", Topic::RainNeeded, 0), question("North 80", Topic::PostClosing, 9)];
    let effects = reply("rain .5", &two, &open);
    assert_eq!(entries(&effects), [("farm/Home", "today", &rain)]);
    assert!(effects.closes.is_empty(), "the next round decides from the rain");
    let weeds = Event::WeedsSeen { height: Inches::new(3.0).unwrap() };
    assert_eq!(entries(&reply("weeds 3\"", &two, &open)), [("farm/North 80", "today", &weeds)]);
    assert_eq!(reply("rain .5 all", &two, &open).entries.len(), 2);
    let asked = [question("Home", Topic::SidedressOpen, 0)];
    let nitrate = Event::NitrateTest { ppm: NitratePpm::new(18.0).unwrap() };
    let tested = reply("nitrate test 18 ppm", &two, &asked);
    assert_eq!(entries(&tested), [("farm/Home", "today", &nitrate)]);
    assert!(tested.closes.is_empty(), "the sidedress is still to be done");
    let planted = reply("planted 4/28 home", &two, &open);
    assert_eq!(entries(&planted), [("farm/Home", "earlier", &Event::Planted)]);
}

#[test]
fn a_hold_is_as_narrow_as_it_was_said() {
    let own = own(&["North 80", "Home"]);
    let open =
        [question("Home", Topic::RainNeeded, 0), question("North 80", Topic::PostClosing, 9)];
    let until = "2026-05-23".parse().unwrap();
    let topic = Some(Topic::PostClosing);
    let held = reply("hold 3 days", &own, &open);
    assert_eq!(entries(&held), [("farm/North 80", "today", &Event::Hold { topic, until })]);
    let held = reply("hold home 3 days", &own, &open);
    assert_eq!(entries(&held), [("farm/Home", "today", &Event::Hold { topic: None, until })]);
    assert!(held.closes.is_empty());
}

#[test]
fn a_day_ahead_is_asked_back() {
    let own = own(&["Home"]);
    assert_eq!(reply("planted 5/28", &own, &[]), Effects::only(Answer::AskDay));
    let open = [question("Home", Topic::PostOpen, 0)];
    assert_eq!(reply("done 5/21", &own, &open), Effects::only(Answer::AskDay));
}

#[test]
fn consent_follows_the_words() {
    let own = own(&["Home"]);
    let open = [question("Home", Topic::PostOpen, 0)];
    let stop = reply("Stop!!", &own, &open);
    assert_eq!((stop.consent, stop.answer), (Some(Consent::Stop), Answer::Stopped));
    let start = reply("start", &own, &open);
    assert_eq!((start.consent, start.answer), (Some(Consent::Start), Answer::Started));
    let maybe = reply("end of field is wet", &own, &open);
    assert_eq!((maybe.consent, maybe.answer), (Some(Consent::HoldForAdvisor), Answer::Silence));
    assert_eq!(reply("help", &own, &open), Effects::only(Answer::Help));
    assert_eq!(reply("see you at church", &own, &open), Effects::only(Answer::NotUnderstood));
    let notice_id = Some("Home:post-open".to_owned());
    assert_eq!(reply("why?", &own, &open), Effects::only(Answer::Why { notice_id }));
}

proptest! {
    #[test]
    fn only_own_fields_and_open_notices_are_touched(
        words in prop::collection::vec(
            prop::sample::select(vec![
                "done", "sprayed", "rain .6", "weeds 3in", "v4", "hold 3 days", "planted", "all",
                "north", "80", "home", "and", "yesterday", "5/18", "post",
            ]),
            1..5,
        ),
        asked in prop::collection::vec((0..3usize, 0..Topic::ALL.len(), 0i64..3), 0..6),
    ) {
        let names = ["North 80", "South 80", "Home"];
        let own = own(&names);
        let open: Vec<OpenQuestion> = asked
            .iter()
            .map(|(field, topic, hours)| question(names[*field], Topic::ALL[*topic], *hours))
            .collect();
        let effects = reply(&words.join(" "), &own, &open);
        for (id, entry) in &effects.entries {
            prop_assert!(own.iter().any(|field| field.id == *id));
            prop_assert!(entry.date <= today());
        }
        for id in &effects.closes {
            let closed = open.iter().find(|question| question.notice_id == *id).unwrap();
            prop_assert!(effects.entries.iter().any(|(field, _)| *field == closed.field_id));
        }
        let recorded = matches!(effects.answer, Answer::Recorded { .. });
        prop_assert_eq!(recorded, !effects.entries.is_empty());
    }
}

#[test]
fn a_bare_field_completes_what_was_asked_back() {
    let own = own(&["North 80", "South 80", "Home"]);
    let open = [question("North 80", Topic::PostOpen, 5), question("Home", Topic::PostOpen, 5)];
    let yesterday = today().pred_opt().unwrap();
    let respond = |text, earlier: &[&'static str]| {
        let asked: Vec<_> = earlier.iter().map(|text| AskedBack { text, day: yesterday }).collect();
        super::respond(text, &asked, &own, &open, today())
    };
    let named = respond("north 80", &["done"]);
    assert_eq!(entries(&named), [("farm/North 80", "yesterday", &POST)]);
    assert_eq!(named.closes, ["North 80:post-open"]);
    assert_eq!(respond("home", &["rain .4"]).entries.len(), 1);
    // Asked twice: the second try said nothing by itself.
    assert_eq!(asked_fields(&respond("80", &["done"])), ["North 80", "South 80"]);
    assert_eq!(respond("North 80", &["80", "done"]), named);

    for (text, earlier) in [
        ("north 80", &[][..]),
        ("call me", &["done"]),
        ("not north 80", &["done"]),
        ("north 80?", &["done"]),
        ("north 80", &["done home next week"]),
        ("north 80", &["sprayed home"]),
    ] {
        assert_eq!(respond(text, earlier).answer, Answer::NotUnderstood, "{text}");
    }
    assert_eq!(respond("stop", &["done"]).consent, Some(Consent::Stop));
    assert_eq!(entries(&respond("rain .4 home", &["done"]))[0].1, "today");
}

//! What a digest must keep.

use super::Wording;
use super::digest::{
    Call, Digest, DigestInput, Due, ExpiredLine, FarmBlock, FieldClocks, FieldLine, ForecastAge,
    HeldLine, HeldWhy, ReplyFrom, ReplyLine, SentLine, SentState, UnknownLine, WarningLine,
};
use super::digest_view::COLUMNS;
use super::samples::{Sample, day, ordinary, today};
use furrowbell_config::people::Language;
use furrowbell_engine::clocks::Stage;
use furrowbell_engine::findings::{Evidence, SeedbedVerdict, Topic};

fn due(farm: &str, field: &str, topic: Topic) -> Due {
    let Sample { evidence, version, corn, act_by, provisional } =
        ordinary().into_iter().find(|sample| sample.evidence.topic() == topic).unwrap();
    Due {
        farm: farm.to_owned(),
        field: field.to_owned(),
        crop_is_corn: corn,
        evidence,
        version,
        act_by,
        provisional,
    }
}

fn names(fields: &[&str]) -> Vec<String> {
    fields.iter().map(ToString::to_string).collect()
}

fn empty(language: Language) -> DigestInput {
    DigestInput {
        sender: "Prairie Desk".to_owned(),
        advisor: "Dana Reyes".to_owned(),
        date: today(),
        language,
        calls: Vec::new(),
        warnings: Vec::new(),
        warnings_late: None,
        due: Vec::new(),
        sent: Vec::new(),
        held_back: Vec::new(),
        expired: Vec::new(),
        replies: Vec::new(),
        undecided: Vec::new(),
        unknown: Vec::new(),
        records: Vec::new(),
        farms: Vec::new(),
        forecast: ForecastAge::NoneYet,
        credits: Vec::new(),
    }
}

fn full(language: Language) -> DigestInput {
    let overdue = due("Holt", "North 80", Topic::PostOverdue);
    let closing = due("Holt", "Creek 40", Topic::PostClosing);
    let waiting = due("Lindqvist & Sons", "Home Quarter", Topic::RainNeeded);
    let waiting_too = due("Lindqvist & Sons", "Sand Hill 160", Topic::RainNeeded);
    let sidedress = Due { provisional: true, ..due("Holt", "Mill Road", Topic::SidedressClosing) };
    let call = |grower: &str, phone: &str, why: Vec<Due>, score| Call {
        grower: grower.to_owned(),
        phone: Some(phone.to_owned()),
        why,
        score,
    };
    let sent = |to: &str, fields: &[&str], topic, state, replied| SentLine {
        to: to.to_owned(),
        fields: names(fields),
        topic,
        state,
        replied,
    };
    DigestInput {
        calls: vec![
            call("Ana Lindqvist", "+15155550107", vec![waiting.clone(), waiting_too.clone()], 4.0),
            call("Ray Holt", "+15155550142", vec![overdue.clone(), closing.clone()], 9.0),
        ],
        due: vec![
            sidedress,
            overdue,
            closing,
            waiting,
            waiting_too,
            due("Holt", "West Forty", Topic::SidedressOpen),
        ],
        sent: vec![
            sent("Ray Holt", &["North 80"], Topic::PostOverdue, SentState::Delivered, false),
            sent("Ray Holt", &["Mill Road", "West Forty"], Topic::RainSet, SentState::Sent, true),
            sent("Ana Lindqvist", &["Home Quarter"], Topic::RainNeeded, SentState::Failed, false),
        ],
        held_back: vec![HeldLine {
            to: "Tom Baker".to_owned(),
            fields: names(&["Depot"]),
            topic: Topic::Emergence,
            why: HeldWhy::NoConsent,
        }],
        expired: vec![ExpiredLine {
            to: "Ana Lindqvist".to_owned(),
            fields: names(&["Home Quarter"]),
            topic: Topic::ColdAfterPlanting,
        }],
        replies: replies(),
        undecided: vec![
            ("Tom Baker".to_owned(), HeldWhy::MaybeStop),
            ("Ana Lindqvist".to_owned(), HeldWhy::Unanswered),
            ("Ray Holt".to_owned(), HeldWhy::NumberGone),
            ("Lars Lindqvist".to_owned(), HeldWhy::NotForNumber),
        ],
        unknown: vec![UnknownLine {
            farm: "Baker".to_owned(),
            field: "Depot".to_owned(),
            since: day(-4),
        }],
        farms: farms(),
        forecast: ForecastAge::Hours(2),
        warnings: vec![warning("Wind Advisory", 0, &["North 80", "Creek 40", "Mill Road"])],
        credits: Vec::new(),
        ..empty(language)
    }
}

/// A warning of Holt's fields that begins tonight if `begins_in` is not zero.
fn warning(event: &str, begins_in: u32, fields: &[&str]) -> WarningLine {
    let at = |hour| today().and_hms_opt(hour, 0, 0).unwrap();
    WarningLine {
        event: event.to_owned(),
        from: (begins_in > 0).then(|| at(begins_in)),
        until: Some(at(19)),
        fields: fields.iter().map(|field| ("Holt".to_owned(), (*field).to_owned())).collect(),
    }
}

fn replies() -> Vec<ReplyLine> {
    let reply = |from: &ReplyFrom, hour, words: &str, maybe_stop| ReplyLine {
        from: from.clone(),
        at: day(-1).and_hms_opt(hour, 5, 0).unwrap(),
        words: words.to_owned(),
        maybe_stop,
    };
    let ray =
        ReplyFrom::Person { name: "Ray Holt".to_owned(), phone: Some("+15155550142".to_owned()) };
    vec![
        reply(&ray, 7, "the sprayer broke down,\nback on it friday", false),
        reply(&ReplyFrom::Unknown { ends: "88".to_owned() }, 12, "who is this", false),
        reply(&ray, 19, "that's enough of these", true),
    ]
}

fn farms() -> Vec<FarmBlock> {
    let field = |name: &str, crop_is_corn, stage, clocks, stale_since| FieldLine {
        name: name.to_owned(),
        crop_is_corn,
        stage,
        clocks,
        seedbed: None,
        stale_since,
    };
    let active = FieldClocks {
        pre_on: Some(day(-12)),
        rain_since_pre_in: Some(0.72),
        pre_set_on: Some(day(-8)),
        residual_ends: Some(day(20)),
        post_closes: Some(day(8)),
        ..FieldClocks::default()
    };
    let dry = FieldClocks {
        pre_on: Some(day(-5)),
        rain_since_pre_in: Some(0.0),
        ..FieldClocks::default()
    };
    vec![
        FarmBlock {
            name: "Holt".to_owned(),
            fields: vec![
                field("North 80", true, Some(Stage::Vegetative(5)), active, None),
                field("Creek 40", false, Some(Stage::Vegetative(2)), dry, None),
                field(
                    "Mill Road",
                    true,
                    Some(Stage::Vegetative(7)),
                    FieldClocks { post_on: Some(day(-2)), sidedress_by: Some(day(7)), ..active },
                    None,
                ),
            ],
        },
        FarmBlock {
            name: "Baker".to_owned(),
            fields: vec![
                field("Depot", false, None, dry, Some(day(-4))),
                field("Hill", true, Some(Stage::Planted), FieldClocks::default(), None),
            ],
        },
    ]
}

fn render(input: &DigestInput) -> Digest {
    Wording::load().unwrap().digest(input)
}

#[test]
fn says_whom_to_call_first_at_the_top() {
    let digest = render(&full(Language::English));
    assert_eq!(digest.subject, "Wed May 20: 2 to call, 5 due. First: North 80 post overdue");
    let at = |text: &str| digest.text.find(text).unwrap_or_else(|| panic!("no {text}"));
    assert!(at("1. Ray Holt  +15155550142") < at("2. Ana Lindqvist"));
    let order = [
        "CALL FIRST",
        "WEATHER WARNINGS",
        "REPLIES TO READ",
        "DUE THIS WEEK",
        "TEXTS SENT",
        "HELD BACK",
        "UNKNOWN",
        "ALL FIELDS",
    ];
    assert!(order.windows(2).all(|pair| at(pair[0]) < at(pair[1])));
    assert!(at("Home Quarter and Sand Hill 160: pre needs rain") > 0, "one line for one thing");
    insta::assert_snapshot!("digest_text", digest.text);
}

#[test]
fn keeps_its_columns_and_its_subject() {
    for language in [Language::English, Language::Spanish] {
        let mut crowded = full(language);
        crowded.calls[1].grower = "Bartholomew Featherstone-Haugh the Younger".to_owned();
        crowded.replies[0].words = "w".repeat(400);
        for input in [empty(language), full(language), crowded] {
            let digest = render(&input);
            let too_wide = digest.text.lines().find(|line| line.chars().count() > COLUMNS);
            assert_eq!(too_wide, None);
            assert!(digest.subject.is_ascii() && digest.subject.len() <= 60, "{}", digest.subject);
            assert!(!digest.text.contains("\n\n\n") && !digest.text.contains("none"));
        }
    }
}

#[test]
fn says_so_when_there_is_nothing() {
    let digest = render(&empty(Language::English));
    assert_eq!(digest.subject, "Wed May 20: no calls, none due");
    for sentence in [
        "Nothing to call about today.",
        "Nothing is due this week.",
        "No texts went out.",
        "Nothing was held back.",
        "No forecast has come in.",
        "There are no fields in the book.",
    ] {
        assert!(digest.text.contains(sentence), "{sentence}");
        assert!(digest.html.contains(sentence), "{sentence}");
    }
    for heading in ["TOO LATE TO SEND", "REPLIES TO READ", "WEATHER WARNINGS"] {
        assert!(!digest.text.contains(heading));
    }
}

#[test]
fn the_html_part_escapes_names_and_loads_nothing() {
    let mut input = full(Language::English);
    "<script>alert(1)</script>".clone_into(&mut input.calls[1].grower);
    let html = render(&input).html;
    assert!(html.contains("1. &lt;script&gt;") && !html.contains("<script"));
    assert!(html.contains("Lindqvist &amp; Sons"));
    assert!(html.contains("<a href=\"tel:+15155550142\""));
    assert!(!html.contains("http") && !html.contains("url("));
    assert_eq!(html.matches("<img").count(), html.matches("<img src=\"data:image/png;").count());
}

#[test]
fn the_week_is_drawn_when_something_is_due() {
    assert!(!render(&empty(Language::English)).html.contains("<img"));
    let html = render(&full(Language::English)).html;
    // Of five deadlines one is over; the others lie in the week that begins on Wednesday the 20th.
    let (_, alt) = html.split_once("alt=\"Deadlines by day: ").unwrap();
    let (alt, _) = alt.split_once(".\"").unwrap();
    let counts: Vec<u32> =
        alt.split(", ").map(|day| day.rsplit(' ').next().unwrap().parse().unwrap()).collect();
    assert_eq!(counts.iter().sum::<u32>(), 5, "{alt}");
    assert!(alt.starts_with("late 1, ") || !alt.contains("late"), "{alt}");
    assert!(html.len() < 60_000, "{} bytes", html.len());
}

#[test]
fn the_plain_part_says_all_that_the_html_part_says() {
    let Digest { text, html, .. } = render(&full(Language::Spanish));
    let squeezed = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for piece in html.split('>').filter_map(|rest| rest.split_once('<')).map(|(said, _)| said) {
        let piece = piece.trim();
        if piece.contains(": ") && !piece.contains('&') {
            assert!(squeezed.contains(piece), "{piece}");
        }
    }
}

#[test]
fn a_warning_says_what_until_when_and_which_fields() {
    let many = ["A", "B", "C", "D", "E", "F", "G", "H"];
    let mut input = empty(Language::English);
    input.warnings = vec![
        warning("Severe Thunderstorm Warning", 0, &many),
        warning("Freeze Watch", 1, &["A"]),
        WarningLine { until: None, ..warning("Flood Warning", 0, &["B"]) },
    ];
    input.warnings_late = Some(3);
    let text = render(&input).text;
    for said in [
        "Severe Thunderstorm Warning until Wed May 20, 7:00 PM\n  - Holt: A, B, C, D, E",
        "Freeze Watch from Wed May 20, 1:00 AM until Wed May 20, 7:00 PM\n  - Holt: A\n",
        "Flood Warning\n  - Holt: B\n",
        "Warnings have not been heard for 3 h.",
    ] {
        assert!(text.contains(said), "{said} not in {text}");
    }
    assert!(text.contains("more"), "{text}");
    input.language = Language::Spanish;
    let text = render(&input).text;
    assert!(text.contains("Freeze Watch desde el mié 20 mayo, 1:00 hasta el"), "{text}");
}

#[test]
fn shows_what_a_person_must_read() {
    let digest = render(&full(Language::English));
    for said in [
        "Ray Holt  +15155550142\n  - Tue May 19, 7:05 AM: \"the sprayer broke down, back on it friday\"",
        "\"that's enough of these\". This may be a STOP,",
        "A number ending in 88\n  - Tue May 19, 12:05 PM: \"who is this\"",
    ] {
        assert!(digest.text.contains(said), "{said} not in {}", digest.text);
    }
    assert!(digest.html.contains("who is this"));
    assert!(!format!("{:?}", replies()).contains("sprayer"));
}

#[test]
fn what_two_people_share_is_told_once() {
    let mut input = full(Language::English);
    let Call { why, .. } = input.calls[1].clone();
    input.calls.push(Call { grower: "Kim Holt".to_owned(), phone: None, why, score: 5.0 });
    let text = render(&input).text;
    assert!(text.contains("2. Kim Holt\n  - North 80 and Creek 40: as for Ray Holt.\n"), "{text}");
}

#[test]
fn a_field_that_waits_for_its_seed_says_how_the_seedbed_is() {
    let mut input = empty(Language::English);
    let ready = Evidence::Seedbed {
        low_in: 1.75,
        high_in: 2.5,
        moist_from_in: Some(0.0),
        soil_f: 52.3,
        verdict: SeedbedVerdict::Ready,
        cold_on: None,
    };
    let field = FieldLine {
        name: "Hill".to_owned(),
        crop_is_corn: true,
        stage: None,
        clocks: FieldClocks::default(),
        seedbed: Some(ready),
        stale_since: None,
    };
    input.farms = vec![FarmBlock { name: "Holt".to_owned(), fields: vec![field] }];
    let text = render(&input).text.replace("\n    ", " ");
    let line = "Hill, corn. Seedbed ready, 52 F, moist; plant 1.75 to 2.5 in deep.";
    assert!(text.contains(line), "{text}");
}

#[test]
fn a_field_line_keeps_to_what_still_matters() {
    let line = |clocks| {
        let mut input = empty(Language::English);
        let field = FieldLine {
            name: "Hill".to_owned(),
            crop_is_corn: true,
            stage: None,
            clocks,
            seedbed: None,
            stale_since: None,
        };
        input.farms = vec![FarmBlock { name: "Holt".to_owned(), fields: vec![field] }];
        let text = render(&input).text;
        text.split_once("- Hill, corn. ").unwrap().1.trim().to_owned()
    };
    let waiting = FieldClocks {
        pre_on: Some(day(-9)),
        rain_since_pre_in: Some(0.3),
        post_closes: Some(day(6)),
        ..FieldClocks::default()
    };
    assert_eq!(line(waiting), "Pre 9 days ago, 0.3 in rain since; post by May 26.");
    let gap = FieldClocks { rain_unknown_days: 7, post_closes: None, ..waiting };
    assert_eq!(line(gap), "Pre 9 days ago, 0.3 in rain since and 7 days unknown.");
    let unseen = FieldClocks { rain_since_pre_in: Some(0.0), ..gap };
    assert_eq!(line(unseen), "Pre 9 days ago, rain of 7 days unknown.");
    let set = FieldClocks { pre_set_on: Some(day(-4)), residual_ends: Some(day(10)), ..waiting };
    assert_eq!(line(set), "Pre set May 16; residual to May 30; post by May 26.");
    let faded = FieldClocks { residual_ends: Some(day(-1)), ..set };
    assert_eq!(line(faded), "Pre set May 16; post by May 26.");
    let done = FieldClocks { post_on: Some(day(-1)), sidedress_by: Some(day(3)), ..set };
    assert_eq!(line(done), "Post done May 19; sidedress by May 23.");
    let renewed = FieldClocks { renewed_ends: Some(day(21)), sidedress_by: None, ..done };
    assert_eq!(line(renewed), "Residual to Jun 10; post done May 19.");
    let again = FieldClocks { next_post_closes: Some(day(4)), sidedress_by: None, ..done };
    assert_eq!(line(again), "Post done May 19; post by May 24.");
    let late = FieldClocks { post_closes: Some(day(-2)), sidedress_by: Some(day(-3)), ..set };
    assert_eq!(line(late), "Post was due May 18; sidedress was due May 17.");
}

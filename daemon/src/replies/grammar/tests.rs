use super::*;
use chrono::Weekday;
use proptest::prelude::*;

fn named(place: &str) -> Place {
    match place {
        "" => Place::Unsaid,
        "ALL" => Place::All,
        name => Place::Named(name.to_owned()),
    }
}

fn done(pass: Option<Pass>, date: Option<DateWord>, place: &str) -> Reply {
    Reply::Done { pass, date, place: named(place) }
}

fn rain(inches: f64, date: Option<DateWord>, place: &str) -> Reply {
    Reply::Rain { inches, date, place: named(place) }
}

fn weeds(height_in: f64, place: &str) -> Reply {
    Reply::Weeds { height_in, date: None, place: named(place) }
}

fn stage(stage: Stage, place: &str) -> Reply {
    Reply::Stage { stage, date: None, place: named(place) }
}

fn planted(date: Option<DateWord>, place: &str) -> Reply {
    Reply::Planted { date, place: named(place) }
}

fn hold(days: u8, place: &str) -> Reply {
    Reply::Hold { days, place: named(place) }
}

const fn day(month: u32, day: u32) -> DateWord {
    DateWord::Day { month, day, year: None }
}

const TODAY: Option<DateWord> = Some(DateWord::Today);
const YESTERDAY: Option<DateWord> = Some(DateWord::Yesterday);
const FRIDAY: Option<DateWord> = Some(DateWord::Weekday(Weekday::Fri));

fn check(cases: &[(&str, Reply)]) {
    let wrong: Vec<String> = cases
        .iter()
        .map(|(text, expected)| (text, parse(text), expected))
        .filter(|(_, found, expected)| found != *expected)
        .map(|(text, found, expected)| format!("{text:?}: {found:?}, not {expected:?}"))
        .collect();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn reads_that_a_pass_is_done() {
    check(&[
        ("DONE", done(None, None, "")),
        ("done.", done(None, None, "")),
        ("  Done!! ", done(None, None, "")),
        ("all done, thanks", done(None, None, "")),
        ("DONE ALL", done(None, None, "ALL")),
        ("got it done", done(None, None, "")),
        ("done north 80 yesterday", done(None, YESTERDAY, "north 80")),
        ("North 80 done", done(None, None, "north 80")),
        ("N80 is done", done(None, None, "n80")),
        ("done with the north 80 on fri", done(None, FRIDAY, "north 80")),
        ("Done, north 80, 5/18", done(None, Some(day(5, 18)), "north 80")),
        ("done May 18", done(None, Some(day(5, 18)), "")),
        ("done 5-18", done(None, Some(day(5, 18)), "")),
        ("done north 80 and home", done(None, None, "north 80 & home")),
        ("sprayed", done(Some(Pass::Spray), None, "")),
        ("sprayed north 80 this morning", done(Some(Pass::Spray), TODAY, "north 80")),
        ("Finished spraying home", done(Some(Pass::Spray), None, "home")),
        ("post done on home", done(Some(Pass::Post), None, "home")),
        ("Done post sprayed", done(Some(Pass::Post), None, "")),
        (
            "side-dressed home 2 days ago",
            done(Some(Pass::Sidedress), Some(DateWord::DaysAgo(2)), "home"),
        ),
        ("sidedress done", done(Some(Pass::Sidedress), None, "")),
        ("hoed it yesterday", done(Some(Pass::Hoe), YESTERDAY, "")),
        ("HECHO", done(None, None, "")),
        ("listo norte 80 ayer", done(None, YESTERDAY, "norte 80")),
        ("fumigué ayer", done(Some(Pass::Spray), YESTERDAY, "")),
        ("Rociado norte 80", done(Some(Pass::Spray), None, "norte 80")),
        ("POST LISTO norte 80", done(Some(Pass::Post), None, "norte 80")),
        ("post rociado ayer", done(Some(Pass::Post), YESTERDAY, "")),
        ("NITRÓGENO LISTO", done(Some(Pass::Sidedress), None, "")),
        ("Abono listo norte 80", done(Some(Pass::Sidedress), None, "norte 80")),
        ("aboné ayer", done(Some(Pass::Sidedress), YESTERDAY, "")),
        ("RASTREADO", done(Some(Pass::Hoe), None, "")),
        ("rastra lista norte 80", done(Some(Pass::Hoe), None, "norte 80")),
        ("escarda hecha ayer", done(Some(Pass::Hoe), YESTERDAY, "")),
        ("done last friday", done(None, Some(DateWord::LastWeekday(Weekday::Fri)), "")),
        ("done NW 1/4", done(None, None, "nw 1/4")),
    ]);
}

#[test]
fn reads_a_nitrate_test() {
    let nitrate = |ppm, date, place: &str| Reply::Nitrate { ppm, date, place: named(place) };
    check(&[
        ("NITRATE 18", nitrate(18.0, None, "")),
        ("nitrate test 18 ppm", nitrate(18.0, None, "")),
        ("Nitrate test came back 18ppm north 80", nitrate(18.0, None, "north 80")),
        ("north 80 nitrate 18.5", nitrate(18.5, None, "north 80")),
        ("soil nitrate 22 home, taken 6/8", nitrate(22.0, Some(day(6, 8)), "home")),
        ("22 ppm nitrate monday", nitrate(22.0, Some(DateWord::Weekday(Weekday::Mon)), "")),
        ("NITRATO 18", nitrate(18.0, None, "")),
        ("prueba de nitrato 18 ppm norte 80 ayer", nitrate(18.0, YESTERDAY, "norte 80")),
        ("nitrate 180", Reply::Unclear),
        ("nitrate 18 or 22?", Reply::Unclear),
        ("nitrate 18 ppm and 22 ppm", Reply::Unclear),
        ("nitrate test not back yet", Reply::Unclear),
        ("nitrate", Reply::Unclear),
        ("nitrate 18 planted", Reply::Unclear),
    ]);
}

#[test]
fn reads_a_rain_gauge() {
    check(&[
        ("rain .6", rain(0.6, None, "")),
        ("RAIN 0.6 north 80", rain(0.6, None, "north 80")),
        ("0.6 in rain", rain(0.6, None, "")),
        ("Rain: 0.6\"", rain(0.6, None, "")),
        ("rain 0.60 inches at home", rain(0.6, None, "home")),
        ("rain north 80 .6", rain(0.6, None, "north 80")),
        ("we got .45 of rain last night", rain(0.45, YESTERDAY, "")),
        ("rained 1 1/2 in", rain(1.5, None, "")),
        ("rain 1/2", rain(0.5, None, "")),
        ("rain 1/2 north 80", rain(0.5, None, "north 80")),
        ("rain yesterday 1", rain(1.0, YESTERDAY, "")),
        ("rain .5 2 days ago", rain(0.5, Some(DateWord::DaysAgo(2)), "")),
        ("rain - .6", rain(0.6, None, "")),
        ("rain 1", rain(1.0, None, "")),
        ("rain 1 north 80", rain(1.0, None, "north 80")),
        ("1 inch rain on home yesterday", rain(1.0, YESTERDAY, "home")),
        ("an inch of rain", rain(1.0, None, "")),
        ("6 tenths rain", rain(6.0 * 0.1, None, "")),
        ("rain 12.7mm", rain(12.7 * (1.0 / 25.4), None, "")),
        ("Rain .6 5/18", rain(0.6, Some(day(5, 18)), "")),
        ("rain 0.6 nw 1/4", rain(0.6, None, "nw 1/4")),
        ("no rain", rain(0.0, None, "")),
        ("No rain north 80", rain(0.0, None, "north 80")),
        ("rain 0", rain(0.0, None, "")),
        ("LLUVIA 0.6", rain(0.6, None, "")),
        ("lluvia .3 pulgadas ayer", rain(0.3, YESTERDAY, "")),
        ("rain .6 all", rain(0.6, None, "ALL")),
    ]);
}

#[test]
fn reads_what_was_seen_and_planted() {
    check(&[
        ("v4", stage(Stage::Vegetative(4), "")),
        ("V 4", stage(Stage::Vegetative(4), "")),
        ("Corn is V5 on home", stage(Stage::Vegetative(5), "corn home")),
        ("beans at VC", stage(Stage::Cotyledon, "")),
        ("stage v3 north 80", stage(Stage::Vegetative(3), "stage north 80")),
        ("ve", stage(Stage::Emerged, "")),
        ("R1", stage(Stage::Reproductive(1), "")),
        ("weeds 3in", weeds(3.0, "")),
        ("weeds 0", weeds(0.0, "")),
        ("no weeds", weeds(0.0, "")),
        ("No weeds on North 80.", weeds(0.0, "north 80")),
        ("sin maleza", weeds(0.0, "")),
        ("No hay maleza en Home", weeds(0.0, "home")),
        ("weeds 3\" north 80", weeds(3.0, "north 80")),
        ("Weeds are 4 inches tall", weeds(4.0, "")),
        ("4 inch weeds in home", weeds(4.0, "home")),
        ("weeds 2-3 in", weeds(3.0, "")),
        ("weeds 2 to 3 in", weeds(3.0, "2")),
        ("weeds a foot tall", weeds(12.0, "")),
        ("weeds home 2.5", weeds(2.5, "home")),
        ("planted 4/28", planted(Some(day(4, 28)), "")),
        ("Planted north 80 on April 28th", planted(Some(day(4, 28)), "north 80")),
        ("planted", planted(None, "")),
        ("done planting home yesterday", planted(YESTERDAY, "home")),
        (
            "planted 4/28/26",
            planted(Some(DateWord::Day { month: 4, day: 28, year: Some(2026) }), ""),
        ),
        ("hold 3 days", hold(3, "")),
        ("HOLD 3", hold(3, "")),
        ("hold off a week on home", hold(7, "home")),
        ("hold north 80 2 days", hold(2, "north 80")),
        ("espera 3 dias", hold(3, "")),
    ]);
}

#[test]
fn reads_the_plain_words() {
    check(&[
        ("Stop", Reply::Stop),
        ("no más", Reply::Stop),
        ("START", Reply::Start),
        ("unstop", Reply::Start),
        ("Yes", Reply::Start),
        ("help", Reply::Help),
        ("?", Reply::Help),
        ("Ayuda", Reply::Help),
        ("Why?", Reply::Why),
        ("why did you text me", Reply::Why),
        ("¿por qué?", Reply::Why),
        ("stopped raining here", Reply::MaybeStop),
        ("end of field is wet", Reply::MaybeStop),
        ("cancel that, 12 not 21", Reply::MaybeStop),
        ("did you stop the pump?", Reply::MaybeStop),
        ("rain stopped at .6", rain(0.6, None, "stopped")),
    ]);
}

#[test]
fn what_says_no_or_two_things_is_unclear() {
    for text in [
        "",
        " ",
        "👍",
        "ok",
        "not done",
        "Done?",
        "cant get done till fri",
        "will be done tomorrow",
        "half done",
        "done but missed the north end",
        "done all but north 80",
        "is north 80 done",
        "almost finished",
        "done when it dries",
        "10% rain",
        "rain north 8",
        "need .6 rain",
        "chance of .6 rain tomorrow",
        "rain .6 north 80 and .4 home",
        "rain",
        "rain 60",
        "no rain yet",
        "rain 1.2.3",
        "did we get 0.6 rain?",
        "weeds",
        "no weeds yet but soon",
        "weeds 300",
        "hold",
        "hold 90 days",
        "hold 1.5 days",
        "hold until friday",
        "planted 4/28 and 4/29",
        "done mon tue",
        "pre and post done",
        "replanted north 80",
        "planting north 80",
        "spraying home now",
        "v4 or v5",
        "V99",
        "help me with north 80",
        "who is this",
        "Liked \u{201c}Prairie Desk: North 80. Reply DONE when sprayed.\u{201d}",
        "\u{1f44d} to \u{201c}Prairie Desk: Reply DONE\u{201d}",
        "Laughed at \"Prairie Desk: Reply STOP to end.\"",
        "rain 0.6 weeds 3in",
    ] {
        assert_eq!(parse(text), Reply::Unclear, "{text:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(10_000))]

    #[test]
    fn no_text_makes_it_panic(text in "\\PC{0,200}") {
        parse(&text);
    }

    #[test]
    fn no_heap_of_reply_words_makes_it_panic(
        words in prop::collection::vec(
            prop::sample::select(vec![
                "done", "rain", ".6", "0.6", "1/2", "1", "v", "v4", "north", "80", "in", "\"", "3in",
                "weeds", "hold", "days", "planted", "4/28", "may", "18", "all", "and", ",", "no",
                "stop", "side", "dressed", "last", "fri", "ago", "a", "-", ".", "/", "é",
            ]),
            0..9,
        )
    ) {
        let text = words.join(" ");
        if let Reply::Rain { inches, .. } = parse(&text) {
            prop_assert!((0.0..=MOST_RAIN_IN).contains(&inches), "{}", text);
        }
    }

    #[test]
    fn a_gauge_is_read_as_it_is_written(hundredths in 0u32..=1500, upper: bool, before: bool) {
        let amount = format!("{}.{:02}", hundredths / 100, hundredths % 100);
        let word = if upper { "RAIN" } else { "rain" };
        let text = if before { format!("{amount} in {word}") } else { format!("{word} {amount}") };
        match parse(&text) {
            Reply::Rain { inches, place: Place::Unsaid, .. } => {
                prop_assert!((inches - f64::from(hundredths) / 100.0).abs() < 1e-9);
            }
            other => prop_assert!(false, "{text}: {other:?}"),
        }
    }
}

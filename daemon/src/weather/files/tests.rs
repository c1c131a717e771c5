use super::*;
use proptest::prelude::*;

fn days(text: &str) -> Vec<FileDay> {
    parse(text).unwrap()
}

fn fault(text: &str) -> String {
    let (line, column, fault) = parse(text).unwrap_err();
    format!("{line}:{column}: {fault}")
}

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

#[test]
fn reads_us_and_metric_daily_rows() {
    let us = days("date,high_f,low_f,rain_in\n2026-05-01,86,50,0.5\n");
    let metric = days("date,tmax_c,tmin_c,rain_mm\r\n2026-05-01,30.0,10.0,12.7\r\n");
    for day in [us[0], metric[0]] {
        assert_eq!(day.date, date("2026-05-01"));
        assert!((day.high.unwrap().get() - 30.0).abs() < 1e-9);
        assert!((day.low.unwrap().get() - 10.0).abs() < 1e-9);
        assert!((day.rain.unwrap().get() - 12.7).abs() < 1e-9);
        assert_eq!((day.humidity, day.wind, day.solar), (None, None, None));
    }
}

#[test]
fn reads_the_optional_columns_in_any_order() {
    let read = days("\u{feff}solar_mj_m2, wind_mps ,rh_mean_pct,DATE\n21.5,3,70,2026-05-01\n");
    assert_eq!(read[0].solar, MegajoulesPerSquareMetre::new(21.5).ok());
    assert_eq!(read[0].wind, MetresPerSecond::new(3.0).ok());
    assert_eq!(read[0].humidity, Percent::new(70.0).ok());
}

#[test]
fn missing_is_none_and_a_trace_is_zero() {
    let read = days(
        "date,high_f,low_f,rain_in\n2026-05-01,M,,T\n2026-05-02,NA,-9999,M\n\n2026-05-04,80,60,0\n",
    );
    assert_eq!(read[0].rain.map(Millimetres::get), Some(0.0));
    assert_eq!(read[1], FileDay::unknown(date("2026-05-02")));
    assert_eq!(read[2].rain.map(Millimetres::get), Some(0.0));
}

#[test]
fn faults_name_line_and_column_and_what_is_allowed() {
    let head = "date,high_f,low_f,rain_in\n";
    let cases = [
        (
            "2026-05-01,8o,60,0",
            "2:12: `8o` is not a value; allowed are a number, or nothing, M, NA or -9999 for missing",
        ),
        (
            "2026-05-01,T,60,0",
            "2:12: `T` is not a value; allowed are a number, or nothing, M, NA or -9999 for missing",
        ),
        (
            "2026-05-01,80,60,trace",
            "2:18: `trace` is not a value; allowed are a number, T for a trace, or nothing, M, NA or -9999 for missing",
        ),
        ("05/01/2026,80,60,0", "2:1: `05/01/2026` is not a date; allowed is YYYY-MM-DD"),
        ("2026-05-01,80,60,-1", "2:18: water depth -25.4 mm is outside 0 to 1000 mm"),
        ("2026-05-01,60,80,0", "2:1: high 15.6 C is below low 26.7 C"),
        ("2026-05-01,80,60", "2:17: the row has 3 cells, the first line has 4"),
        (
            "\n2026-05-01,80,60,0\n\n\n2026-05-01,80,60,0",
            "6:1: 2026-05-01 does not come after 2026-05-01; rows go by date, each date once",
        ),
        (
            "2026-05-02,80,60,0\n2026-05-01,80,60,0",
            "3:1: 2026-05-01 does not come after 2026-05-02; rows go by date, each date once",
        ),
    ];
    for (rows, said) in cases {
        assert_eq!(fault(&format!("{head}{rows}\n")), said);
    }
    assert_eq!(
        fault(""),
        "1:1: the file is empty; allowed are daily rows under a header, or GHCN-Daily CSV"
    );
    assert!(
        fault("date,rain\n")
            .starts_with("1:6: column `rain` is not known; allowed are date, high_f,")
    );
    assert_eq!(fault("date,rain_in,rain_mm\n"), "1:14: a second column for rain; keep one");
    assert!(fault("date\n2026-05-01\n").starts_with("1:1: the header names no weather; allowed"));
    assert_eq!(
        fault("STATION,DATE,MAX\nUSW00014839,2026-05-01,80\n"),
        "1:1: the header names no weather; allowed are TMAX, TMIN, PRCP, AWND"
    );
    assert_eq!(fault("high_f,low_f\n"), "1:1: the header has no column `date`");
    assert_eq!(
        fault("date,high_f\n\"2026-05-01\",x\n"),
        "2:14: `x` is not a value; allowed are a number, or nothing, M, NA or -9999 for missing"
    );
}

#[test]
fn the_file_is_named_in_the_fault() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("north.csv");
    std::fs::write(&path, "date,high_f\n2026-05-01,x\n").unwrap();
    assert!(read(&path).unwrap_err().to_string().contains("north.csv:2:12: `x` is not"));
    std::fs::write(&path, b"date,high_f\n2026-05-01,\xff\n").unwrap();
    assert!(matches!(read(&path), Err(FileFault::Closed { .. })));
    assert!(matches!(read(&folder.path().join("none.csv")), Err(FileFault::Closed { .. })));
}

/// Rows in the form of readme-by_station.txt of GHCN-Daily, with its published header.
const LONG: &str = "\
ID,DATE,ELEMENT,DATA_VALUE,M_FLAG,Q_FLAG,S_FLAG,OBS_TIME
USC00130200,20230501,TMAX,156,,,7,0700
USC00130200,20230502,TMAX,189,,,7,0700
USC00130200,20230501,TMIN,28,,,7,0700
USC00130200,20230502,TMIN,322,,I,7,0700
USC00130200,20230501,PRCP,0,T,,7,0700
USC00130200,20230502,PRCP,13,,,7,0700
USC00130200,20230503,PRCP,0,P,,7,0700
USC00130200,20230502,SNWD,0,,,7,0700
USC00130200,20230502,AWND,41,,,W,
";

#[test]
fn reads_the_long_form_in_tenths_and_drops_what_failed_a_check() {
    for text in [LONG, LONG.split_once('\n').unwrap().1] {
        let read = days(text);
        assert_eq!(read.len(), 3);
        assert_eq!(read[0].high, Celsius::new(15.6).ok());
        assert_eq!(read[0].low, Celsius::new(2.8).ok());
        assert_eq!(read[0].rain, Millimetres::new(0.0).ok());
        assert_eq!(read[1].low, None);
        assert_eq!(read[1].rain, Millimetres::new(1.3).ok());
        assert_eq!(read[1].wind, MetresPerSecond::new(4.1).ok());
        assert_eq!(read[2], FileDay::unknown(date("2023-05-03")));
    }
}

#[test]
fn the_long_form_holds_one_station_and_each_element_once_a_day() {
    let row = "USC00130200,20230501,TMAX,156,,,7,0700\n";
    assert_eq!(fault(&format!("{row}{row}")), "2:22: TMAX of 2023-05-01 for the second time");
    let other = row.replace("130200", "130201");
    assert_eq!(
        fault(&format!("{row}{other}")),
        "2:1: station `USC00130201` after `USC00130200`; a file holds one station"
    );
    let cold = row.replace("TMAX,156", "TMIN,200");
    assert_eq!(fault(&format!("{row}{cold}")), "2:27: high 15.6 C is below low 20.0 C");
}

const WIDE: &str = r#""STATION","DATE","LATITUDE","LONGITUDE","ELEVATION","NAME","PRCP","PRCP_ATTRIBUTES","TMAX","TMAX_ATTRIBUTES","TMIN","TMIN_ATTRIBUTES"
"USW00014839","2018-05-01","42.95500","-87.90440","204.5","SOMEWHERE AIRPORT, WI US","   25",",,W,2400","  267",",,W","  122",",,W"
"USW00014839","2018-05-02","42.95500","-87.90440","204.5","SOMEWHERE AIRPORT, WI US","    0","T,,W,2400","  278",",X,W",,
"#;

#[test]
fn reads_the_wide_form_with_its_flags() {
    let read = days(WIDE);
    assert_eq!(read[0].rain, Millimetres::new(2.5).ok());
    assert_eq!(read[0].high, Celsius::new(26.7).ok());
    assert_eq!(read[0].low, Celsius::new(12.2).ok());
    assert_eq!(read[1].rain, Millimetres::new(0.0).ok());
    assert_eq!((read[1].high, read[1].low), (None, None));
}

#[test]
fn the_wide_form_refuses_other_units_lost_flags_and_other_stations() {
    let said = fault(&WIDE.replace("   25", "0.10"));
    assert!(said.starts_with("2:86: `0.10` is not a value; allowed are whole tenths"), "{said}");
    let said = fault(&WIDE.replace("TMAX_ATTRIBUTES", "TMAX_NOTES"));
    assert!(said.contains("TMAX has no column `TMAX_ATTRIBUTES`"), "{said}");
    let second = WIDE.lines().nth(2).unwrap().replace("14839", "14840").replace("05-02", "05-03");
    assert!(fault(&format!("{WIDE}{second}\n")).contains("a file holds one station"));
    assert!(fault(&WIDE.replace("05-02", "05-01")).contains("does not come after"));
}

#[test]
fn a_day_carries_the_kind_it_is_given() {
    let day = days("date,rain_mm\n2026-05-01,3\n")[0].day(Kind::Station);
    assert_eq!(day.rain.unwrap().kind, Kind::Station);
    assert_eq!((day.high, day.date), (None, date("2026-05-01")));
}

/// Ames 8 WSW, Iowa, NOAA cooperative station; April to June totals in inches, as listed with the
/// data.
#[test]
fn a_real_station_file_keeps_its_totals() {
    let path = concat!(
        env!("CARGO_MANIFEST_DIR"),
        "/../../shared/data/daily/ames_8wsw_ia_apr-aug_2012_2013_2021_2022_2023.csv"
    );
    if !Path::new(path).exists() {
        println!("SKIP no station file in ../shared/data/daily");
        return;
    }
    let read = read(Path::new(path)).unwrap();
    for (year, inches) in [("2013", 15.91), ("2022", 17.49)] {
        let spring = date(&format!("{year}-04-01"))..=date(&format!("{year}-06-30"));
        let rain: f64 = read
            .iter()
            .filter(|day| spring.contains(&day.date))
            .filter_map(|day| day.rain.map(Millimetres::inches))
            .sum();
        assert!((rain - inches).abs() < 0.01, "{year}: {rain}");
    }
}

proptest! {
    #[test]
    fn never_panics(text in "[\\PC\n\r,\"]{0,200}") {
        let _ = parse(&text);
    }

    #[test]
    fn never_panics_on_a_mutated_file(which in 0..2_usize, edits in prop::collection::vec((any::<prop::sample::Index>(), any::<char>()), 1..8)) {
        let mut text: Vec<char> = [LONG, WIDE][which].chars().collect();
        for (at, character) in edits {
            let at = at.index(text.len());
            text[at] = character;
        }
        let _ = parse(&text.into_iter().collect::<String>());
    }
}

/// May 2023 of one station, three days of each element: day 2 low failed a check (I), day 3 rain is
/// missing presumed zero, and the month's 32 characters that follow are missing days. Layout from
/// readme.txt section III of GHCN-Daily.
fn dly() -> String {
    let days = |values: [&str; 3]| {
        let missing = "-9999   ".repeat(28);
        format!("{}{missing}", values.concat())
    };
    format!(
        "USC00130200202305TMAX{}\nUSC00130200202305TMIN{}\nUSC00130200202305PRCP{}\n\
         USC00130200202305SNWD{}\n",
        days(["  156  7", "  211  7", "  233  7"]),
        days(["   28  7", "  450 I7", "   90  7"]),
        days(["    0T 7", "   13  7", "    0P 7"]),
        days(["    0  7", "    0  7", "    0  7"]),
    )
}

#[test]
fn reads_the_fixed_width_form_with_its_flags() {
    let reading = sift_text(&dly()).unwrap();
    assert_eq!((reading.form, reading.rows), (Form::Dly, 9));
    assert_eq!(reading.refused, []);
    assert_eq!(reading.flagged, [("I".to_owned(), 1)].into());
    let read = reading.days;
    assert_eq!(read.len(), 3);
    assert_eq!(read[0].high, Celsius::new(15.6).ok());
    assert_eq!(read[0].rain, Millimetres::new(0.0).ok());
    assert_eq!((read[1].low, read[1].rain), (None, Millimetres::new(1.3).ok()));
    assert_eq!((read[2].date, read[2].rain), (date("2023-05-03"), None));
}

#[test]
fn a_fixed_width_value_is_refused_alone_and_in_its_place() {
    let reading = sift_text(&dly().replace("  211  7", "  2x1  7")).unwrap();
    let (line, column, fault) = &reading.refused[0];
    assert_eq!((*line, *column), (1, 30));
    assert!(fault.to_string().starts_with("`2x1` is not a value"), "{fault}");
    assert_eq!(reading.days[0].high, Celsius::new(15.6).ok());
    let february = dly().replace("202305", "202302");
    let february = february.replacen(&"-9999   ".repeat(28), &"    0  7".repeat(28), 1);
    let said = sift_text(&february).unwrap().refused.remove(0).2.to_string();
    assert!(said.starts_with("`2023-02-29` is not a date"), "{said}");
}

#[test]
fn sifting_keeps_what_is_sound_and_says_what_is_not() {
    let reading = sift_text(
        "date,high_f,low_f,rain_in\n2024-02-28,50,30,0\n2024-02-29,5o,30,0\n2024-02-29,50,30,0.1\n\
         2024-03-01,50\n2024-03-02,30,50,0\n2024-02-30,50,30,0\n",
    )
    .unwrap();
    let lines: Vec<_> = reading.refused.iter().map(|(line, ..)| *line).collect();
    assert_eq!((reading.rows, lines), (6, vec![3, 5, 6, 7]));
    let dates: Vec<_> = reading.days.iter().map(|day| day.date.to_string()).collect();
    assert_eq!(dates, ["2024-02-28", "2024-02-29"]);
}

#[test]
fn a_value_that_crosses_another_leaves_the_day_as_it_was() {
    let crossed = LONG.replace("TMIN,28", "TMIN,200");
    let reading = sift_text(&crossed).unwrap();
    assert_eq!(reading.refused.len(), 1);
    assert_eq!((reading.days[0].high, reading.days[0].low), (Celsius::new(15.6).ok(), None));
}

#[test]
fn the_hour_of_a_rain_tells_a_morning_observer() {
    let reading = sift_text(LONG).unwrap();
    assert_eq!((reading.timed, reading.morning), (3, 3));
    let reading = sift_text(WIDE).unwrap();
    assert_eq!((reading.timed, reading.morning), (2, 0));
}

//! Soil temperature and emergence by it: the published models and pairs, and ten measured springs.

use chrono::{Datelike, NaiveDate};
use furrowbell_engine::clocks::heat::SoilGdd;
use furrowbell_engine::clocks::soil_emergence::{self, corn_days};
use furrowbell_engine::clocks::soil_temperature::{
    self, DIFFUSIVITY_MM2_S, LEAF_SHARE, SoilDay, SoilTemperature, Wave, damping_depth_cm,
    lag_hours, swing_left,
};
use furrowbell_engine::reference::crops;
use furrowbell_engine::units::fahrenheit;
use furrowbell_published::{
    AMES, Row, close, mean, median, number, root_mean_square, rows, stations,
};
use std::collections::BTreeMap;

fn celsius(fahrenheit: f64) -> f64 {
    (fahrenheit - 32.0) / 1.8
}

#[test]
fn soil_follows_steady_air_as_the_model_says() {
    // Kätterer & Andrén, Acta Agric. Scand. B 59:77-86, 2009, bare soil starting at 5 C, air steady
    // at 15 C; sequence worked from the published equations. Tolerance: four decimals.
    for (depth, expected) in [
        (
            5.0,
            [
                7.5880, 9.6055, 11.1783, 12.4044, 13.3601, 14.1052, 14.6861, 15.1389, 15.4918,
                15.7670,
            ],
        ),
        (
            10.0,
            [
                7.3771, 9.2729, 10.7849, 11.9907, 12.9523, 13.7193, 14.3309, 14.8187, 15.2078,
                15.5180,
            ],
        ),
    ] {
        let mut soil = SoilTemperature::starting(depth, 5.0);
        for expected in expected {
            close(soil.advance(15.0, 0.0), expected, 0.000_06);
        }
    }
}

#[test]
fn soil_follows_a_changing_spring_as_the_model_says() {
    // The same model at 5 cm over 8, 12, 16, 10, -2, 6, 14, 20 C.
    let air = [8.0, 12.0, 16.0, 10.0, -2.0, 6.0, 14.0, 20.0];
    let expected = [5.8659, 7.5250, 9.8024, 10.1017, 7.7867, 7.5462, 9.3270, 12.1912];
    let mut soil = SoilTemperature::starting(5.0, 5.0);
    for (air, expected) in air.into_iter().zip(expected) {
        close(soil.advance(air, 0.0), expected, 0.000_06);
    }
    // Its parts: surface factor at leaf area 0, 3 and 6; daily gain at 5 and 10 cm, bare.
    close(soil_temperature::surface(1.0, 0.0), 1.11601, 0.000_006);
    close(soil_temperature::surface(1.0, 3.0), 1.0, 1e-12);
    close(soil_temperature::surface(1.0, 6.0), 0.96506, 0.000_006);
    close(soil_temperature::daily_gain(5.0, 0.0), 0.220_443, 0.000_001);
    close(soil_temperature::daily_gain(10.0, 0.0), 0.202_480, 0.000_001);
}

#[test]
fn the_daily_and_the_yearly_wave_sink_as_far_as_conduction_says() {
    // Hillel, Introduction to Soil Physics, 1982: d = sqrt(2 D / omega), worked for 0.3, 0.5 and
    // 0.7 mm2/s: 9.08, 11.73, 13.87 cm for the day and 1.735, 2.240, 2.651 m for the year.
    // Tolerance: the last digit.
    for (diffusivity, day_cm, year_m) in
        [(0.3, 9.08, 1.735), (0.5, 11.73, 2.240), (0.7, 13.87, 2.651)]
    {
        close(damping_depth_cm(diffusivity, 1.0), day_cm, 0.005);
        close(damping_depth_cm(diffusivity, 365.0) / 100.0, year_m, 0.001_1);
    }
    // With 0.5 and a surface that swings 10 C to either side: 6.53 C and 1.63 h late at 5 cm, 4.26
    // C and 3.26 h at 10 cm, 1.82 C and 6.51 h at 20 cm.
    let damping = damping_depth_cm(0.5, 1.0);
    for (depth, swing, hours) in [(5.0, 6.53, 1.63), (10.0, 4.26, 3.26), (20.0, 1.82, 6.51)] {
        close(10.0 * swing_left(depth, damping), swing, 0.005);
        close(lag_hours(depth, damping), hours, 0.006);
        // The wave itself is highest a quarter of a day after it passes its mean, plus the lag.
        let wave = Wave { mean: 15.0, swing: 10.0, rises_at: 9.0 };
        close(wave.at(9.0 + 6.0 + lag_hours(depth, damping), depth, damping), 15.0 + swing, 0.005);
    }
}

#[test]
fn a_day_of_the_clock_swings_as_the_wave_says() {
    // Same source, at 5 cm: air from 5 to 25 C swings 10 C to either side.
    close(DIFFUSIVITY_MM2_S.value, 0.5, 1e-12);
    let day = SoilTemperature::starting(5.0, 15.0).advance_day(Some((5.0, 25.0)), 0.0).unwrap();
    close(day.high - day.mean, 6.53, 0.005);
    close(day.mean - day.low, 6.53, 0.005);
}

#[test]
fn soil_at_noon_under_a_warm_surface() {
    // Campbell & Norman, An Introduction to Environmental Biophysics, 1998, in the form of Riddell
    // et al. 2018: mean + swing e^(-z/d) sin(pi/12 (hour - 11) - z/d) with d = 5.238 cm. Surface 15
    // to 30 C, hour 12, 5 cm: 20.65027 with 2.71 for e and 3.14 for pi; tolerance for those two,
    // 0.01.
    let wave = Wave { mean: 22.5, swing: 7.5, rises_at: 11.0 };
    close(wave.at(12.0, 5.0, 5.238), 20.650_27, 0.01);
}

/// Green area of the stations' grass: that of clipped grass of 0.12 m, whose leaf area is 24 times
/// its height (Allen et al., FAO-56, 1998, Box 5, from memory), greening up evenly over April as for the
/// moisture of the same stations (common practice, no source).
fn grass(date: NaiveDate, leaf_area: f64, full_on: NaiveDate) -> f64 {
    let april = NaiveDate::from_ymd_opt(date.year(), 4, 1).unwrap();
    let days = |to: NaiveDate| f64::from(i32::try_from((to - april).num_days()).unwrap());
    leaf_area / LEAF_SHARE * (days(date) / days(full_on)).clamp(0.0, 1.0)
}

const GRASS_LEAF_AREA: f64 = 24.0 * 0.12;

/// Model and measurement of one station at one depth.
struct Fit {
    rmse: f64,
    bias: f64,
    /// By how much the measured soil was warmer than the air, C.
    over_air: f64,
    days: usize,
    /// First of three days from March on with a mean of 50 F, in the model and in the soil.
    warm: (Option<NaiveDate>, Option<NaiveDate>),
}

impl Fit {
    fn days_out(&self) -> Option<i64> {
        Some((self.warm.0? - self.warm.1?).num_days())
    }
}

/// A day of a station, C.
struct Compared {
    date: NaiveDate,
    air: f64,
    model: f64,
    measured: f64,
}

/// The soil over one station's spring. The run-in from January forgets the start.
fn fit(rows: &[(NaiveDate, Row)], depth_cm: u8, green: impl Fn(NaiveDate) -> f64) -> Option<Fit> {
    let mut soil = SoilTemperature::starting(f64::from(depth_cm), 0.0);
    let mut days = Vec::new();
    for (date, row) in rows {
        let air = number(row, "t_daily_min").zip(number(row, "t_daily_max"));
        let model = soil.advance_day(air, green(*date)).map(|day| day.mean);
        let measured = number(row, &format!("soil_temp_{depth_cm}_daily"));
        let Some(((low, high), (model, measured))) = air.zip(model.zip(measured)) else { continue };
        days.push(Compared { date: *date, air: f64::midpoint(low, high), model, measured });
    }
    let spring = days.partition_point(|day| day.date.month() < 4);
    let from_march = days.partition_point(|day| day.date.month() < 3);
    let over = |of: fn(&Compared) -> f64| days[spring..].iter().map(of).collect::<Vec<_>>();
    let errors = over(|day| day.model - day.measured);
    let warm = |of: fn(&Compared) -> f64| {
        let warm = |three: &&[Compared]| {
            three.iter().all(|day| of(day) >= 10.0)
                && (three[2].date - three[0].date).num_days() == 2
        };
        days[from_march..].windows(3).find(warm).map(|three| three[0].date)
    };
    (errors.len() >= 60).then(|| Fit {
        rmse: root_mean_square(&errors),
        bias: mean(&errors),
        over_air: mean(&over(|day| day.measured - day.air)),
        days: errors.len(),
        warm: (warm(|day| day.model), warm(|day| day.measured)),
    })
}

/// Bounds on the median station.
const RMSE_C: f64 = 2.2;
const BIAS_C: f64 = 1.0;
const DAYS_OUT: i64 = 4;

/// What a station fails, and why.
fn failures(fit: &Fit) -> String {
    let mut found = Vec::new();
    if fit.rmse > RMSE_C {
        found.push("RMSE over 2.2 C".to_owned());
    }
    if fit.bias.abs() > BIAS_C {
        let (model, grass) = if fit.bias > 0.0 { ("warm", "thicker") } else { ("cold", "thinner") };
        let over_air = fit.over_air;
        found.push(format!("model {model}: soil {over_air:+.1} C over air, as in {grass} grass"));
    }
    if fit.days_out().is_none_or(|days| days.abs() > DAYS_OUT) {
        found.push("only one of model and soil held 50 F for three days in a spell near it".into());
    }
    if found.is_empty() { "passes".into() } else { format!("fails ({})", found.join("; ")) }
}

/// Medians over the stations: RMSE, size of the bias, days by which the first warm spell is out.
fn medians(fits: &[Fit]) -> (f64, f64, i64) {
    let mut days: Vec<i64> =
        fits.iter().map(|fit| fit.days_out().map_or(i64::MAX, i64::abs)).collect();
    days.sort_unstable();
    (
        median(fits.iter().map(|fit| fit.rmse).collect()),
        median(fits.iter().map(|fit| fit.bias.abs()).collect()),
        days[days.len() / 2],
    )
}

#[test]
fn soil_temperature_through_ten_springs() {
    let Some(stations) = stations() else { return };
    // Horton & Corkrey, Soil Res. 49:305, 2011: models from air temperature err by 1.2 to 1.9 C
    // where they are fitted to the site. Nothing is fitted here: one cover of grass for all. Bounds
    // on the median station, April to June: RMSE 2.2 C, bias 1 C, first three days at 50 F within 4
    // days.
    let full = NaiveDate::from_ymd_opt(2020, 4, 30).unwrap();
    for depth in [5, 10] {
        let mut fits = Vec::new();
        for (station, rows) in &stations {
            let Some(fit) = fit(rows, depth, |date| grass(date, GRASS_LEAF_AREA, full)) else {
                println!("{depth:2} cm {station}: fails, under 60 days measured");
                continue;
            };
            let told =
                |date: Option<NaiveDate>| date.map_or("never".into(), |date| date.to_string());
            println!(
                "{depth:2} cm {station}: RMSE {:.2} C, bias {:+.2} C, n {}, 50 F on {} (soil {}), {}",
                fit.rmse,
                fit.bias,
                fit.days,
                told(fit.warm.0),
                told(fit.warm.1),
                failures(&fit)
            );
            fits.push(fit);
        }
        assert!(fits.len() >= 9, "{} stations", fits.len());
        let (rmse, bias, days) = medians(&fits);
        println!("{depth:2} cm median: RMSE {rmse:.2} C, bias {bias:.2} C, {days} days out");
        assert!(rmse <= RMSE_C && bias <= BIAS_C && days <= DAYS_OUT, "{rmse} {bias} {days}");
    }
}

#[test]
fn the_fit_does_not_hang_on_how_the_grass_is_told() {
    let Some(stations) = stations() else { return };
    // The same bounds with the grass green a month later, and with a fifth less of it. As bare
    // ground the same stations come out warm by over 1 C: the cover is what the model needs to be
    // told.
    let day = |month, day| NaiveDate::from_ymd_opt(2020, month, day).unwrap();
    for depth in [5, 10] {
        let over = |leaf_area: f64, full: NaiveDate| {
            let fits: Vec<Fit> = stations
                .values()
                .filter_map(|rows| fit(rows, depth, |date| grass(date, leaf_area, full)))
                .collect();
            medians(&fits)
        };
        for (share, full) in [(1.0, day(5, 31)), (0.8, day(4, 30)), (0.8, day(5, 31))] {
            let (rmse, bias, days) = over(share * GRASS_LEAF_AREA, full);
            println!(
                "{depth:2} cm, {share} green by {full}: {rmse:.2} C, {bias:.2} C, {days} days"
            );
            assert!(rmse <= RMSE_C && bias <= BIAS_C && days <= DAYS_OUT, "{rmse} {bias} {days}");
        }
        let (rmse, bias, days) = over(0.0, day(4, 30));
        println!("{depth:2} cm as bare ground: {rmse:.2} C, {bias:.2} C, {days} days");
        assert!(bias > BIAS_C);
    }
}

#[test]
fn the_measured_surface_swings_at_least_as_far_as_the_air() {
    let Some(stations) = stations() else { return };
    // The clock lets the surface swing as far as the air. The stations' infrared skin temperature,
    // April to June, shows that as a lower bound.
    for (station, rows) in &stations {
        let spans = rows.iter().filter(|(date, _)| date.month() >= 4).filter_map(|(_, row)| {
            let span = |high, low| Some(number(row, high)? - number(row, low)?);
            Some(
                span("sur_temp_daily_max", "sur_temp_daily_min")?
                    / span("t_daily_max", "t_daily_min")?,
            )
        });
        let ratio = median(spans.collect());
        println!("station {station}: the surface swings {ratio:.2} times as far as the air");
        assert!((1.0..2.5).contains(&ratio), "station {station}: {ratio:.2}");
    }
}

#[test]
fn late_april_soil_of_central_iowa() {
    const MODEL_F: f64 = 3.4;
    let Some(rows) = rows(AMES) else { return };
    // Taylor, Iowa State Univ., 2009: soil of central Iowa in late April runs from 47 to 62 F with
    // a mean of 57. Here five years at Ames, bare, 4 in, 20 to 30 April, run in from 1 April.
    // Tolerance: the model's own error of 1.9 C (3.4 F), and for the mean of five springs that each
    // wander by about 3 C another 1.3 C (2.4 F).
    let mut springs: BTreeMap<i32, Vec<f64>> = BTreeMap::new();
    let mut soil = SoilTemperature::starting(10.0, 5.0);
    for row in &rows {
        let date: NaiveDate = row["date"].parse().unwrap();
        if (date.month(), date.day()) == (4, 1) {
            soil = SoilTemperature::starting(10.0, 5.0);
        }
        let air = number(row, "low_f").map(celsius).zip(number(row, "high_f").map(celsius));
        let day = soil.advance_day(air, 0.0);
        if date.month() == 4 && date.day() >= 20 {
            springs.entry(date.year()).or_default().extend(day.map(|day| fahrenheit(day.mean)));
        }
    }
    let means: Vec<f64> = springs.values().map(|days| mean(days)).collect();
    println!("late April at Ames, F, {:?}: {means:.1?}", springs.keys());
    for mean in &means {
        assert!((47.0 - MODEL_F..=62.0 + MODEL_F).contains(mean), "{mean:.1} F");
    }
    close(mean(&means), 57.0, MODEL_F + 2.4);
}

#[test]
fn corn_comes_up_in_steady_soil_as_published() {
    // Taylor, Iowa State Univ., 2009: about 21 days at 50 F, 7 at 70 F. McGrath, Iowa State Univ.:
    // about 10 at 60 F.
    for (soil_f, days) in [(50.0, 21.0), (60.0, 10.0), (70.0, 7.0)] {
        close(corn_days(soil_f).unwrap(), days, 1e-9);
    }
    // Anderson & Vittetoe, Iowa State Univ., 2021: about two weeks in the 50s, one in the 60s.
    // Middle of each ten degrees; tolerance two days, as the page counts in weeks.
    close(corn_days(55.0).unwrap(), 14.0, 2.0);
    close(corn_days(65.0).unwrap(), 7.0, 2.0);
}

#[test]
fn soil_steady_at_50_f_has_no_heat_by_its_mean_yet_corn_comes_up() {
    let still = celsius(50.0);
    close(SoilGdd::of_day(still, still).0, 0.0, 1e-9);
    assert!(corn_days(50.0).is_some_and(|days| days < 22.0));
    // The same mean with the swing that a usual spring day (span 12 C) leaves at 2 in does give
    // heat: half the swing, 7 F to either side.
    let swing = 6.0 * swing_left(5.08, damping_depth_cm(DIFFUSIVITY_MM2_S.value, 1.0));
    let day = SoilDay { low: still - swing, mean: still, high: still + swing };
    close(SoilGdd::of_day(day.high, day.low).0, swing * 1.8 / 2.0, 1e-9);
    assert!(
        (3.0..4.0).contains(&SoilGdd::of_day(day.high, day.low).0),
        "{:?}",
        SoilGdd::of_day(day.high, day.low)
    );
}

#[test]
fn heat_of_the_soil_and_of_the_air_have_their_own_threshold_for_soybean() {
    // Conley, Univ. of Wisconsin, 2008: about 145 GDD of the air or 165 of the soil to emergence.
    assert_eq!(soil_emergence::SOYBEAN_EMERGENCE, SoilGdd(165.0));
    const { assert!(crops::SOYBEAN_EMERGENCE_GDD.value < soil_emergence::SOYBEAN_EMERGENCE.0) };
    // Bare soil in May runs warmer than the air (surface factor 1.116), so it takes more of its own
    // heat to the same day: over three weeks of 10 to 24 C, soil at 1.5 in against air. Tolerance
    // 0.1, as one round weather stands for the season behind two round figures.
    let mut soil = SoilTemperature::starting(3.8, 15.0);
    let (mut by_soil, mut by_air) = (0.0, 0.0);
    for _ in 0..21 {
        let day = soil.advance_day(Some((10.0, 24.0)), 0.0).unwrap();
        by_soil += SoilGdd::of_day(day.high, day.low).0;
        by_air += furrowbell_engine::clocks::heat::gdd_f(75.2, 50.0);
    }
    println!("soil gathers {:.2} times the heat of the air", by_soil / by_air);
    close(by_soil / by_air, 165.0 / 145.0, 0.1);
}

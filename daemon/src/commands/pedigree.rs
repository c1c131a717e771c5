//! Where the rain of a field's last days comes from, in lines for people.

use crate::weather::pedigree::{Candidate, Element, Pedigree};
use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use furrowbell_engine::units::Millimetres;
use furrowbell_engine::weather::Kind;

/// A heading and, for each day after `from` up to `today`, the best value and every other that
/// disagrees with it; nothing where nobody has said anything of those days.
pub fn lines(pedigree: &Pedigree, from: NaiveDate, today: NaiveDate, zone: Tz) -> Vec<String> {
    let days = from.iter_days().skip(1).take_while(|date| *date <= today);
    let told: Vec<_> = days.flat_map(|date| day(pedigree, date, zone)).collect();
    if told.is_empty() {
        return Vec::new();
    }
    let mut lines = vec![format!("Where the rain comes from (times of {zone}):")];
    lines.extend(told);
    lines.push(String::new());
    lines
}

/// The newest soil temperature that somebody says, to hold the clocks' own against.
pub fn soil(pedigree: &Pedigree, from: NaiveDate, today: NaiveDate) -> Option<String> {
    let said = |date, element| pedigree.said(date, element).first();
    let mut days = today.iter_days().rev().take_while(|date| *date > from);
    let (date, high, low) = days.find_map(|date| {
        Some((date, said(date, Element::SoilHigh)?, said(date, Element::SoilLow)?))
    })?;
    let fahrenheit = |one: &Candidate| 32.0 + 1.8 * one.value;
    let (low, top) = (fahrenheit(low), fahrenheit(high));
    let (kind, source) = (kind(high), high.source);
    Some(format!("  soil at 4 in on {date}: {low:.0} to {top:.0} F by {kind} ({source})"))
}

fn day(pedigree: &Pedigree, date: NaiveDate, zone: Tz) -> Vec<String> {
    let best = pedigree.said(date, Element::Rain).first();
    let best = best.map(|best| format!("  {date}  {}", said(best, zone)));
    let others = pedigree.disagreeing(date, Element::Rain);
    let others = others.map(|other| format!("         but  {}", said(other, zone)));
    best.into_iter().chain(others).collect()
}

/// Amount, kind, source and place, then the period and when it was made and fetched.
fn said(one: &Candidate, zone: Tz) -> String {
    let amount = match Millimetres::new(one.value) {
        Ok(_) if one.trace => "a trace".to_owned(),
        Ok(depth) => format!("{:.2} in", depth.inches()),
        Err(_) => "?".to_owned(),
    };
    let place = match one.distance_km.filter(|far| *far > 0.0) {
        Some(far) => format!("{} {far:.0} km off", one.place),
        None => one.place.clone(),
    };
    let local = |at: DateTime<Utc>| at.with_timezone(&zone).format("%m-%d %H:%M").to_string();
    let period = one.starts_at.zip(one.ends_at).map(|(starts, ends)| {
        if one.whole_day {
            String::new()
        } else {
            format!(", {} to {}", local(starts), local(ends))
        }
    });
    let issued = one.issued_at.map(|at| format!(", issued {}", local(at)));
    let fetched = one.fetched_at.map(|at| format!(", fetched {}", local(at)));
    let times = [period, issued, fetched].into_iter().flatten().collect::<String>();
    format!("{amount} by {} ({}, {place}{times})", kind(one), one.source)
}

const fn kind(one: &Candidate) -> &'static str {
    match one.kind {
        Kind::Gauge => "gauge",
        Kind::Station if one.hand_read => "network gauge",
        Kind::Radar => "radar",
        Kind::Station => "station",
        Kind::Model => "model, not measured",
        Kind::Forecast => "forecast, not measured",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::weather::observed_day::ObservedDay;
    use crate::weather::pedigree::Stand;
    use crate::weather::source::SourceName;
    use chrono_tz::America::Chicago;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    #[test]
    fn a_day_tells_its_best_value_and_what_disagrees_and_keeps_quiet_of_the_rest() {
        let date = NaiveDate::from_ymd_opt(2026, 5, 10).unwrap();
        let day = |source, kind, mm, (from, until): (&str, &str)| ObservedDay {
            rain_mm: Some(mm),
            ..ObservedDay::unknown(
                "acis:7".to_owned(),
                source,
                kind,
                date,
                (at(from), at(until)),
                at("2026-05-11T16:00:00Z"),
            )
        };
        let local = ("2026-05-10T05:00:00Z", "2026-05-11T05:00:00Z");
        let morning = ("2026-05-10T12:00:00Z", "2026-05-11T12:00:00Z");
        let radar = ObservedDay {
            place: "41.21,-96.62".to_owned(),
            issued_at: Some(at("2026-05-11T15:50:00Z")),
            ..day(SourceName::Mesonet, Kind::Radar, 12.7, local)
        };
        let mut all = Pedigree::default();
        all.add_observed(&radar, None, Chicago);
        assert_eq!(soil(&all, date.pred_opt().unwrap(), date), None);
        let model = ObservedDay {
            rain_mm: None,
            soil_high_c: Some(20.0),
            soil_low_c: Some(15.0),
            ..day(SourceName::Mesonet, Kind::Model, 0.0, local)
        };
        all.add_observed(&model, None, Chicago);
        assert_eq!(
            soil(&all, date.pred_opt().unwrap(), date.succ_opt().unwrap()).unwrap(),
            "  soil at 4 in on 2026-05-10: 59 to 68 F by model, not measured \
             (Iowa Environmental Mesonet)"
        );
        let stand = |distance_km, hand_read| Some(Stand { distance_km, hand_read });
        let station = day(SourceName::Acis, Kind::Station, 30.48, morning);
        all.add_observed(&station, stand(8.2, true), Chicago);
        let agreeing = ObservedDay { rain_mm: Some(12.0), ..station };
        all.add_observed(&agreeing, stand(9.0, false), Chicago);
        let lines = lines(&all, date.pred_opt().unwrap(), date, Chicago);
        assert_eq!(
            lines,
            [
                "Where the rain comes from (times of America/Chicago):",
                "  2026-05-10  0.50 in by radar (Iowa Environmental Mesonet, 41.21,-96.62, \
                 issued 05-11 10:50, fetched 05-11 11:00)",
                "         but  1.20 in by network gauge (ACIS stations, acis:7 8 km off, \
                 05-10 07:00 to 05-11 07:00, fetched 05-11 11:00)",
                "",
            ]
        );
        assert_eq!(super::lines(&all, date, date, Chicago), Vec::<String>::new());
    }
}

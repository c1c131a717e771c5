//! Which source's forecast a field rests on.

use super::pull::age_limit;
use crate::store::WeatherHour;
use crate::weather::source::SourceName;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;

/// The hours of one field, put together from its sources.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Chosen {
    /// The hours in order: those ahead from one source only, those that are over from any.
    pub hours: Vec<WeatherHour>,
    /// The source of the hours ahead; none while every forecast is too old.
    pub source: Option<SourceName>,
    /// When that forecast was issued, or the newest of those that are too old.
    pub issued: Option<DateTime<Utc>>,
}

/// Takes the first source, in the order given, whose forecast is young enough. Without one nothing
/// is known of the hours ahead, nor of hours that are over and whose forecast was too old already
/// when they came: a forecast nobody renewed for days would hide that weather is missing.
pub fn choose(mut sources: Vec<(SourceName, Vec<WeatherHour>)>, now: DateTime<Utc>) -> Chosen {
    let issued = |hours: &[WeatherHour]| hours.iter().map(|hour| hour.issued_at).max();
    let newest = sources.iter().filter_map(|(_, hours)| issued(hours)).max();
    for (source, hours) in &mut sources {
        hours.retain(|hour| hour.hour.min(now) - hour.issued_at <= age_limit(*source));
    }
    let young = sources.iter().position(|(source, hours)| {
        issued(hours).is_some_and(|issued| now - issued <= age_limit(*source))
    });
    let mut hours = BTreeMap::new();
    let mut chosen = Chosen { issued: newest, ..Chosen::default() };
    if let Some((source, own)) = young.and_then(|at| sources.get(at)) {
        chosen.source = Some(*source);
        chosen.issued = issued(own);
        hours.extend(own.iter().map(|hour| (hour.hour, hour.clone())));
    }
    for hour in sources.into_iter().flat_map(|(_, hours)| hours) {
        if hour.hour < now {
            hours.entry(hour.hour).or_insert(hour);
        }
    }
    chosen.hours = hours.into_values().collect();
    chosen
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeDelta;
    use furrowbell_engine::weather::Kind;

    fn at(hours: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_777_636_800, 0).unwrap() + TimeDelta::hours(hours)
    }

    /// Hours from `first` to 48 whose temperature tells the source apart.
    fn of(temp_c: f64, issued: i64, first: i64) -> Vec<WeatherHour> {
        let hour = |hour| WeatherHour {
            cell: "cell".to_owned(),
            hour: at(hour),
            kind: Kind::Forecast,
            temp_c: Some(temp_c),
            rain_mm: None,
            humidity_pct: None,
            wind_mps: None,
            gust_mps: None,
            sky_pct: None,
            issued_at: at(issued),
            fetched_at: at(issued),
        };
        (first..48).map(hour).collect()
    }

    fn temps(chosen: &Chosen, from: i64) -> Vec<f64> {
        let later = chosen.hours.iter().filter(|hour| hour.hour >= at(from));
        let mut temps: Vec<_> = later.filter_map(|hour| hour.temp_c).collect();
        temps.dedup();
        temps
    }

    #[test]
    fn hours_whose_forecast_was_old_when_they_came_are_missing() {
        let chosen = choose(vec![(SourceName::Nws, of(1.0, 0, -6))], at(240));
        assert_eq!(chosen.hours.last().map(|hour| hour.hour), Some(at(18)));
        assert_eq!(chosen.issued, Some(at(0)), "the digest still says how old it is");
    }

    #[test]
    fn the_grid_stands_for_eighteen_hours_then_the_stand_ins_then_nothing() {
        let sources = || {
            vec![
                (SourceName::Nws, of(1.0, 0, -6)),
                (SourceName::MetNorway, of(2.0, 6, 6)),
                (SourceName::OpenMeteo, of(3.0, 12, 12)),
            ]
        };
        for (now, source, temp) in [
            (18, Some(SourceName::Nws), vec![1.0]),
            (19, Some(SourceName::MetNorway), vec![2.0]),
            (31, Some(SourceName::OpenMeteo), vec![3.0]),
            (37, None, vec![]),
        ] {
            let chosen = choose(sources(), at(now));
            assert_eq!((chosen.source, temps(&chosen, now)), (source, temp), "{now}");
            assert_eq!(chosen.hours[0].temp_c, Some(1.0), "what is over stays known");
        }
        assert_eq!(choose(Vec::new(), at(0)), Chosen::default());
    }
}

//! How long a forecast is worth believing.

use chrono::{DateTime, TimeDelta, Utc};

/// Age from which a forecast counts as none. The offices of the US National Weather Service issue
/// theirs anew at least twice a day, so that one older than a shift and a half has been missed
/// (common practice, no source).
pub const OLDEST: TimeDelta = TimeDelta::hours(18);

/// Whether what was said of an hour may be believed: it was no older than that when the hour came,
/// or, for an hour still to come, is no older now.
pub fn is_believed(hour: DateTime<Utc>, issued_at: DateTime<Utc>, now: DateTime<Utc>) -> bool {
    hour.min(now) - issued_at <= OLDEST
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_old_forecast_is_none_and_a_past_hour_keeps_what_was_fresh_in_its_time() {
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        let issued = at("2026-05-20T06:00:00Z");
        let believed = |hour, now| is_believed(at(hour), issued, at(now));
        let tomorrow = "2026-05-21T20:00:00Z";
        assert!(believed(tomorrow, "2026-05-21T00:00:00Z"), "18 h old");
        assert!(!believed(tomorrow, "2026-05-21T00:00:01Z"));
        let same_day = "2026-05-20T20:00:00Z";
        assert!(believed(same_day, "2026-05-29T00:00:00Z"), "nobody knew better in its time");
        assert!(!believed("2026-05-21T01:00:00Z", "2026-05-29T00:00:00Z"));
    }
}

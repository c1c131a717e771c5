//! How long an HTTP service asks to be left alone.

use chrono::{DateTime, Utc};
use reqwest::header::{HeaderMap, RETRY_AFTER};
use std::time::Duration;

/// A service that asks for a longer pause is asked again after this one.
pub(super) const LONGEST_PAUSE: Duration = Duration::from_hours(24);

/// Reads Retry-After: seconds or an HTTP date (RFC 9110, 10.2.3), a day at most.
pub(super) fn retry_after(headers: &HeaderMap, now: DateTime<Utc>) -> Option<Duration> {
    let text = headers.get(RETRY_AFTER)?.to_str().ok()?.trim();
    let asked = if let Ok(seconds) = text.parse() {
        Duration::from_secs(seconds)
    } else {
        let until = DateTime::parse_from_rfc2822(text).ok()?;
        (until.to_utc() - now).to_std().unwrap_or_default()
    };
    Some(asked.min(LONGEST_PAUSE))
}

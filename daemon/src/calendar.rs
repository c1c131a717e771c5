//! Windows of fields as a calendar that any program reads (RFC 5545).

use crate::store::CalendarEvent;
use chrono::{DateTime, TimeDelta, Utc};
use sha2::{Digest as _, Sha256};

/// How long a withdrawn event is still told, so that every program that looks now and then drops it.
const TOLD: TimeDelta = TimeDelta::days(7);
/// Octets of a line before it is folded (RFC 5545, 3.1).
const LINE: usize = 75;

/// An event as it should stand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// Its id; the same through every change.
    pub uid: String,
    /// What a calendar shows.
    pub summary: String,
    /// More of it.
    pub details: String,
    /// When it begins.
    pub starts_at: DateTime<Utc>,
    /// The first moment after it.
    pub ends_at: DateTime<Utc>,
}

/// The id of an event: a hash, so that it tells a calendar program nothing of the farm.
pub fn uid(parts: &[&str]) -> String {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update(part.len().to_be_bytes());
        hash.update(part);
    }
    let half = hash.finalize()[..16].iter().fold(0_u128, |sum, byte| sum << 8 | u128::from(*byte));
    format!("{half:032x}@furrowbell")
}

/// The events that change when these are wanted. What is over stays as it was.
pub fn revised(
    known: &[CalendarEvent],
    wanted: Vec<Wanted>,
    now: DateTime<Utc>,
) -> Vec<CalendarEvent> {
    let gone = known.iter().filter(|event| {
        let is_wanted = wanted.iter().any(|wanted| wanted.uid == event.uid);
        !is_wanted && !event.withdrawn && event.ends_at > now
    });
    let mut changed: Vec<CalendarEvent> = gone
        .map(|event| CalendarEvent {
            sequence: event.sequence + 1,
            changed_at: now,
            withdrawn: true,
            ..event.clone()
        })
        .collect();
    for wanted in wanted {
        let before = known.iter().find(|event| event.uid == wanted.uid);
        if before.is_some_and(|event| stands(event, &wanted)) {
            continue;
        }
        changed.push(CalendarEvent {
            uid: wanted.uid,
            summary: wanted.summary,
            details: wanted.details,
            starts_at: wanted.starts_at,
            ends_at: wanted.ends_at,
            sequence: before.map_or(0, |event| event.sequence + 1),
            changed_at: now,
            withdrawn: false,
        });
    }
    changed
}

fn stands(event: &CalendarEvent, wanted: &Wanted) -> bool {
    !event.withdrawn
        && (event.starts_at, event.ends_at) == (wanted.starts_at, wanted.ends_at)
        && event.summary == wanted.summary
        && event.details == wanted.details
}

/// How a calendar goes out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Attached to a message (RFC 5546, `PUBLISH`).
    Mailed,
    /// Fetched from the calendar's own address.
    Feed,
}

/// Writes down what holds and what was withdrawn of late; `None` where there is nothing of either.
/// `source` is the calendar's own address.
pub fn written(
    events: &[CalendarEvent],
    form: Form,
    source: Option<&str>,
    now: DateTime<Utc>,
) -> Option<String> {
    let told = |event: &&CalendarEvent| {
        if event.withdrawn { event.changed_at > now - TOLD } else { event.ends_at > now }
    };
    let told: Vec<&CalendarEvent> = events.iter().filter(told).collect();
    if told.is_empty() {
        return None;
    }
    let mut lines = Lines::default();
    lines.add("BEGIN:VCALENDAR");
    lines.add("VERSION:2.0");
    lines.add("PRODID:-//furrowbell//windows of fields//EN");
    if form == Form::Mailed {
        lines.add("METHOD:PUBLISH");
    }
    if let Some(source) = source {
        // RFC 7986, 5.7 and 5.8.
        lines.add("REFRESH-INTERVAL;VALUE=DURATION:PT1H");
        lines.add(&format!("SOURCE;VALUE=URI:{source}"));
    }
    for event in told {
        // With a method the stamp is that of this very object, else that of the event
        // (RFC 5545, 3.8.7.2).
        let stamp = if form == Form::Mailed { now } else { event.changed_at };
        let status = if event.withdrawn { "CANCELLED" } else { "CONFIRMED" };
        lines.add("BEGIN:VEVENT");
        lines.add(&format!("UID:{}", event.uid));
        lines.add(&format!("DTSTAMP:{}", utc(stamp)));
        lines.add(&format!("LAST-MODIFIED:{}", utc(event.changed_at)));
        lines.add(&format!("SEQUENCE:{}", event.sequence));
        lines.add(&format!("DTSTART:{}", utc(event.starts_at)));
        lines.add(&format!("DTEND:{}", utc(event.ends_at)));
        lines.add(&format!("SUMMARY:{}", escaped(&event.summary)));
        lines.add(&format!("DESCRIPTION:{}", escaped(&event.details)));
        lines.add(&format!("STATUS:{status}"));
        // A window leaves the person free.
        lines.add("TRANSP:TRANSPARENT");
        lines.add("END:VEVENT");
    }
    lines.add("END:VCALENDAR");
    Some(lines.0)
}

fn utc(at: DateTime<Utc>) -> String {
    at.format("%Y%m%dT%H%M%SZ").to_string()
}

/// A TEXT value (RFC 5545, 3.3.11).
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for sign in text.chars() {
        match sign {
            '\\' | ';' | ',' => out.extend(['\\', sign]),
            '\n' => out.push_str("\\n"),
            _ if sign.is_control() => {}
            _ => out.push(sign),
        }
    }
    out
}

#[derive(Default)]
struct Lines(String);

impl Lines {
    /// Adds a line, folded between characters.
    fn add(&mut self, line: &str) {
        let mut used = 0;
        for sign in line.chars() {
            if used + sign.len_utf8() > LINE {
                self.0.push_str("\r\n ");
                used = 1;
            }
            self.0.push(sign);
            used += sign.len_utf8();
        }
        self.0.push_str("\r\n");
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeZone;
    use proptest::prelude::*;

    fn day(day: u32) -> DateTime<Utc> {
        Utc.with_ymd_and_hms(2026, 5, day, 5, 0, 0).unwrap()
    }

    fn post(from: u32, to: u32) -> Wanted {
        Wanted {
            uid: uid(&["holt/north-80", "post", "2026", "1"]),
            summary: "North 80, corn: post pass".to_owned(),
            details: "Holt; rows close soon, see\nthe label".to_owned(),
            starts_at: day(from),
            ends_at: day(to),
        }
    }

    #[test]
    fn an_event_keeps_its_id_and_counts_its_changes() {
        let first = revised(&[], vec![post(20, 26)], day(19));
        assert_eq!((first[0].sequence, first[0].withdrawn), (0, false));
        assert_eq!(revised(&first, vec![post(20, 26)], day(20)), []);
        let moved = revised(&first, vec![post(20, 24)], day(21));
        assert_eq!((moved[0].uid.as_str(), moved[0].sequence), (first[0].uid.as_str(), 1));
        let gone = revised(&moved, Vec::new(), day(22));
        assert_eq!((gone[0].sequence, gone[0].withdrawn, gone[0].changed_at), (2, true, day(22)));
        assert_eq!(revised(&gone, Vec::new(), day(23)), []);
        let back = revised(&gone, vec![post(23, 28)], day(23));
        assert_eq!((back[0].sequence, back[0].withdrawn), (3, false));
        // What is over was no mistake.
        assert_eq!(revised(&moved, Vec::new(), day(25)), []);
    }

    #[test]
    fn what_was_withdrawn_is_told_for_seven_days() {
        let known = revised(&[], vec![post(20, 30)], day(10));
        let gone = revised(&known, Vec::new(), day(11));
        let told = |now| written(&gone, Form::Mailed, None, now);
        assert!(told(day(17)).unwrap().contains("\r\nSTATUS:CANCELLED\r\n"));
        assert_eq!(told(day(18)), None);
        assert_eq!(written(&known, Form::Feed, None, day(30)), None, "over");
    }

    #[test]
    fn a_calendar_reads_as_rfc_5545_wants_it() {
        let events = revised(&[], vec![post(20, 26)], day(19));
        let source = format!("https://desk.test/calendar/{}.ics", "t".repeat(43));
        let mailed = written(&events, Form::Mailed, Some(&source), day(20)).unwrap();
        let unfolded = mailed.replace("\r\n ", "");
        for line in [
            "METHOD:PUBLISH",
            "DTSTAMP:20260520T050000Z",
            "LAST-MODIFIED:20260519T050000Z",
            "DTSTART:20260520T050000Z",
            "DTEND:20260526T050000Z",
            "SUMMARY:North 80\\, corn: post pass",
            "DESCRIPTION:Holt\\; rows close soon\\, see\\nthe label",
            "SEQUENCE:0",
        ] {
            assert!(unfolded.split("\r\n").any(|found| found == line), "{line} in {unfolded}");
        }
        assert!(mailed.split("\r\n").all(|line| line.len() <= LINE));
        let feed = written(&events, Form::Feed, Some(&source), day(20)).unwrap();
        assert!(!feed.contains("METHOD") && feed.contains("DTSTAMP:20260519T050000Z"));
        let later = written(&events, Form::Feed, Some(&source), day(21)).unwrap();
        assert_eq!(feed, later, "a feed changes with its events only");
    }

    proptest! {
        #[test]
        fn a_folded_line_is_short_and_unfolds_to_itself(line in "\\PC{0,300}") {
            let mut lines = Lines::default();
            lines.add(&line);
            prop_assert!(lines.0.trim_end_matches("\r\n").split("\r\n").all(|one| one.len() <= LINE));
            prop_assert_eq!(lines.0.replace("\r\n ", ""), format!("{line}\r\n"));
        }

        #[test]
        fn ids_tell_events_apart(one in "[a-z/]{1,9}", other in "[a-z/]{1,9}") {
            prop_assert_eq!(uid(&[&one, &other]) == uid(&[&other, &one]), one == other);
            prop_assert_ne!(uid(&[&one, &other]), uid(&[&format!("{one}{other}")]));
        }
    }
}

//! The back-test as one drawing: a row a topic, a dot a field-year, over the days of the season.

use super::{TopicTimes, month_day};
use chrono::{Datelike, NaiveDate};
use std::collections::BTreeMap;
use std::fmt::Write as _;

const WIDTH: f64 = 900.0;
const LEFT: f64 = 160.0;
const RIGHT: f64 = 780.0;
const TOP: f64 = 96.0;
const ROW: f64 = 44.0;
const RADIUS: f64 = 3.2;
/// Any leap year, so that each day of any year has its place.
const LEAP_YEAR: i32 = 2024;

/// Colours by name, for paper and for a dark screen, so that the drawing needs no script.
const STYLE: &str = "\
svg{--paper:#fff;--ink:#222;--faint:#767676;--line:#d9d9d9;--dot:#1f6f9c;--mark:#b5541c}
@media(prefers-color-scheme:dark){svg{--paper:#16191c;--ink:#ececec;--faint:#9a9a9a;--line:#3a3f44;\
--dot:#6cb8e0;--mark:#f0a060}}
text{font:13px system-ui,sans-serif;fill:var(--ink)}
.title{font-size:17px;font-weight:600}.faint{fill:var(--faint)}
.paper{fill:var(--paper)}.line{stroke:var(--line)}
.dot{fill:var(--dot);fill-opacity:.6}.median{stroke:var(--mark);stroke-width:2.5}";

/// Draws it; `heading` and `note` stand above, topics that never came below.
pub(super) fn draw(heading: &str, note: &str, times: &[TopicTimes]) -> String {
    let (came, never): (Vec<_>, Vec<_>) = times.iter().partition(|one| !one.dates.is_empty());
    let axis = Axis::over(&came);
    let mut body = String::new();
    let mut middle = TOP + ROW / 2.0;
    for one in &came {
        row(&mut body, &axis, one, middle);
        middle += ROW;
    }
    let bottom = middle - ROW / 2.0;
    let mut back = String::new();
    axis.draw(&mut back, bottom);
    let mut foot = bottom + 44.0;
    let mut line = |text: &str| {
        put(&mut body, &format!("<text class=\"faint\" x=\"16\" y=\"{foot}\">{text}</text>"));
        foot += 20.0;
    };
    line("Each dot is one field in one year, on the first day of a text; the bar is the median.");
    if !never.is_empty() {
        let names: Vec<_> = never.iter().map(|one| one.topic.name()).collect();
        line(&format!("Never: {}.", names.join(", ")));
    }
    let (heading, note) = (escaped(heading), escaped(note));
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {foot}\" width=\"{WIDTH}\" \
         height=\"{foot}\" role=\"img\"><title>{heading}</title><style>{STYLE}</style>\
         <rect class=\"paper\" width=\"100%\" height=\"100%\"/>\n\
         <text class=\"title\" x=\"16\" y=\"30\">{heading}</text>\n\
         <text class=\"faint\" x=\"16\" y=\"52\">{note}</text>\n{back}{body}</svg>\n"
    )
}

fn row(body: &mut String, axis: &Axis, one: &TopicTimes, middle: f64) {
    let name = one.topic.name();
    let label = middle + 4.5;
    put(body, &format!("<text x=\"16\" y=\"{label}\">{name}</text>"));
    let share = format!("{} % ({})", one.share_percent(), one.dates.len());
    put(body, &format!("<text x=\"{}\" y=\"{label}\">{share}</text>", RIGHT + 16.0));
    for (date, years) in by_day(&one.dates) {
        let step =
            (ROW / 2.0 - 2.0 * RADIUS).min(RADIUS * 1.7 * half(years.len())) / half(years.len());
        for (at, year) in years.iter().enumerate() {
            let side = if at % 2 == 0 { 1.0 } else { -1.0 };
            let (x, y) = (axis.x(date), middle + side * step * half(at));
            put(
                body,
                &format!(
                    "<circle class=\"dot\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{RADIUS}\">\
                     <title>{name}, {} {year}</title></circle>",
                    month_day(date)
                ),
            );
        }
    }
    if let Some([_, median, _]) = one.quantiles() {
        let (x, from, to) = (axis.x(median), middle - 15.0, middle + 15.0);
        put(
            body,
            &format!(
                "<line class=\"median\" x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"{from}\" y2=\"{to}\">\
                 <title>{name}, median {}</title></line>",
                month_day(median)
            ),
        );
    }
}

/// How far from the middle the dot of that number lies, in steps: 0, 1, 1, 2, 2, ...
#[expect(clippy::cast_precision_loss, reason = "a count of dots is exact")]
fn half(number: usize) -> f64 {
    number.div_ceil(2) as f64
}

/// The years in which an alert came on each day of the year.
fn by_day(dates: &[NaiveDate]) -> BTreeMap<NaiveDate, Vec<i32>> {
    let mut days: BTreeMap<NaiveDate, Vec<i32>> = BTreeMap::new();
    for date in dates {
        days.entry(in_leap_year(*date)).or_default().push(date.year());
    }
    days
}

fn in_leap_year(date: NaiveDate) -> NaiveDate {
    date.with_year(LEAP_YEAR).unwrap_or(date)
}

/// The days of the season from left to right.
struct Axis {
    first: NaiveDate,
    last: NaiveDate,
}

impl Axis {
    /// April to August, and March where something came in March.
    fn over(times: &[&TopicTimes]) -> Self {
        let day = |month, day| NaiveDate::from_ymd_opt(LEAP_YEAR, month, day).unwrap_or_default();
        let april = day(4, 1);
        let earliest = times.iter().filter_map(|one| one.dates.first());
        let in_march = earliest.map(|date| in_leap_year(*date)).any(|date| date < april);
        Self { first: if in_march { day(3, 1) } else { april }, last: day(8, 31) }
    }

    #[expect(clippy::cast_precision_loss, reason = "fewer days than a year has")]
    fn x(&self, date: NaiveDate) -> f64 {
        let days = (in_leap_year(date) - self.first).num_days() as f64;
        LEFT + (RIGHT - LEFT) * days / (self.last - self.first).num_days() as f64
    }

    fn draw(&self, back: &mut String, bottom: f64) {
        let firsts = self.first.iter_days().take_while(|date| *date <= self.last);
        for date in firsts.filter(|date| date.day() == 1) {
            let x = self.x(date);
            put(
                back,
                &format!(
                    "<line class=\"line\" x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"{TOP}\" y2=\"{bottom}\"/>\
                     <text class=\"faint\" x=\"{:.1}\" y=\"{}\">{}</text>",
                    x + 4.0,
                    TOP - 10.0,
                    date.format("%b")
                ),
            );
        }
        put(
            back,
            &format!(
                "<line class=\"line\" x1=\"16\" x2=\"{}\" y1=\"{TOP}\" y2=\"{TOP}\"/>",
                WIDTH - 16.0
            ),
        );
    }
}

fn put(body: &mut String, line: &str) {
    // Writing to a String cannot fail.
    let _ = writeln!(body, "{line}");
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

#[cfg(test)]
mod tests {
    use super::*;
    use furrowbell_engine::findings::Topic;

    fn times(topic: Topic, dates: &[&str]) -> TopicTimes {
        let dates = dates.iter().map(|date| date.parse().unwrap()).collect();
        TopicTimes { topic, dates, field_years: 4 }
    }

    #[test]
    fn every_alert_is_a_dot_in_its_place_and_nothing_is_markup_by_mistake() {
        let set = times(Topic::RainSet, &["2012-04-01", "2013-08-31", "2020-08-31"]);
        let never = times(Topic::RainLate, &[]);
        let drawing = draw("Rye & <Barley>", "note", &[set, never]);
        assert_eq!(drawing.matches("<circle").count(), 3);
        assert_eq!(drawing.matches("cx=\"160.0\"").count(), 1);
        assert_eq!(drawing.matches("cx=\"780.0\"").count(), 2);
        let median = format!("class=\"median\" x1=\"{RIGHT:.1}\"");
        assert_eq!(drawing.matches(&median).count(), 1, "{drawing}");
        assert!(drawing.contains("Rye &amp; &lt;Barley&gt;"), "{drawing}");
        assert!(drawing.contains("Never: rain-late."), "{drawing}");
        assert!(!drawing.contains("<script"), "{drawing}");
    }

    #[test]
    fn march_is_drawn_where_something_came_in_it() {
        let axis = |date| Axis::over(&[&times(Topic::Seedbed, &[date])]).first.month();
        assert_eq!((axis("2012-03-30"), axis("2012-04-01")), (3, 4));
    }
}

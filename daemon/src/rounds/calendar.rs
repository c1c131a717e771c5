//! The windows of an advisor's fields, kept as a calendar.

use super::Desk;
use super::advance::FieldNow;
use super::digest::last_day;
use crate::calendar::{self, Form, Wanted};
use crate::wording::calendar::Window;
use chrono::{DateTime, Datelike, Days, NaiveDate, Utc};
use furrowbell_config::local::start_of_day;
use furrowbell_config::people::Person;

/// A window with its first and last day, and which one of the season it is.
struct Span {
    window: Window,
    number: u8,
    first: NaiveDate,
    last: NaiveDate,
}

impl Desk {
    /// Brings the advisor's calendar up to date and gives it as it goes out by mail.
    pub(super) async fn update_calendar(
        &self,
        advisor: &Person,
        fields: &[FieldNow<'_>],
        now: DateTime<Utc>,
    ) -> anyhow::Result<Option<String>> {
        let own = fields.iter().filter(|at| at.farm.advisors.contains(&advisor.id));
        let wanted = own
            .flat_map(|at| spans(at).into_iter().map(move |span| self.event(advisor, at, &span)));
        let known = self.store.calendar(&advisor.id).await?;
        let changed = calendar::revised(&known, wanted.collect(), now);
        self.store.keep_events(&advisor.id, &changed).await?;
        let events = self.store.calendar(&advisor.id).await?;
        let source = self.links.as_ref().map(|links| links.calendar(&advisor.id));
        Ok(calendar::written(&events, Form::Mailed, source.as_deref(), now))
    }

    fn event(&self, advisor: &Person, at: &FieldNow<'_>, span: &Span) -> Wanted {
        let (year, number) = (at.today.year().to_string(), span.number.to_string());
        let crop_is_corn = at.field.plan.as_ref().is_some_and(|plan| plan.crop.is_corn());
        let (summary, details) = self.wording.window(
            advisor.language,
            span.window,
            (&at.farm.name, &at.field.name),
            crop_is_corn,
        );
        Wanted {
            uid: calendar::uid(&[&at.field.id, span.window.name(), &year, &number]),
            summary,
            details,
            starts_at: start_of_day(span.first, at.farm.zone),
            ends_at: start_of_day(span.last + Days::new(1), at.farm.zone),
        }
    }
}

/// The windows of a field that are open or in sight. A second post window of the season is another
/// one than the first.
fn spans(at: &FieldNow<'_>) -> Vec<Span> {
    let Some(now) = &at.season.now else { return Vec::new() };
    let number = if now.post_applied_on.is_some() { 2 } else { 1 };
    let post = now.post_window.and_then(|window| {
        let first = window.opening?.on;
        Some(Span { window: Window::Post, number, first, last: last_day(window.closes, at.today) })
    });
    let sidedress = now.sidedress.filter(|_| now.sidedressed_on.is_none());
    let sidedress = sidedress.map(|window| Span {
        window: Window::Sidedress,
        number: 1,
        first: window.opens.likely,
        last: last_day(window.latest, at.today),
    });
    let residual = now.residual_ends.map(|ends| Span {
        window: Window::Residual,
        number,
        first: ends.earliest,
        last: ends.likely,
    });
    let spans = [post, sidedress, residual].into_iter().flatten();
    spans.filter(|span| span.first <= span.last && span.last >= at.today).collect()
}

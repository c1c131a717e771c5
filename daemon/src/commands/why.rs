//! `furrowbell why`: shows the numbers behind one notice.

use super::{BookArg, Failure, limits, on_weeds, zoned};
use crate::wire;
use clap::Args;

/// Arguments of `why`.
#[derive(Debug, Args)]
pub struct WhyArgs {
    /// Id of the notice, or of a text that carries notices.
    notice: String,
    #[command(flatten)]
    book: BookArg,
    /// One JSON object.
    #[arg(long)]
    json: bool,
}

/// Prints the notice with its evidence and its texts.
pub async fn run(args: WhyArgs) -> Result<(), Failure> {
    let book = super::load(&args.book.folder)?;
    let store = wire::store(&book).await?;
    let notices = match store.notice(&args.notice).await? {
        Some(notice) => vec![notice],
        None => store.notices_of_text(&args.notice).await?,
    };
    if notices.is_empty() {
        let told = "furrowbell texts --json lists texts with their notices";
        return Err(Failure::Fault(format!(
            "no notice or text has the id {}; {told}",
            args.notice
        )));
    }
    for notice in notices {
        let identity = &notice.identity;
        let texts = store.texts_of_notice(&notice.id).await?;
        let evidence = serde_json::to_value(&notice.evidence)?;
        if args.json {
            let texts: Vec<_> = texts.iter().map(|queued| &queued.text.id).collect();
            let line = serde_json::json!({
                "id": notice.id, "field": identity.field, "topic": identity.topic,
                "occasion": identity.occasion, "version": identity.version,
                "person": identity.person, "urgency": notice.urgency, "act_by": notice.act_by,
                "provisional": notice.provisional, "raised_at": notice.raised_at,
                "evidence": evidence, "texts": texts,
            });
            say!("{line}");
            continue;
        }
        let zone = book.service.zone;
        say!("{} for {}: {}", identity.field, identity.person, identity.topic.name());
        say!("  raised {}, occasion {}", zoned(notice.raised_at, zone), identity.occasion);
        if let Some(act_by) = notice.act_by {
            say!("  act by {act_by}");
        }
        if notice.provisional {
            say!("  rests on forecast, not on measured weather");
        }
        for (name, value) in evidence.as_object().into_iter().flatten() {
            say!("  {name}: {value}");
        }
        if let Some(label) = limits::behind(&book, &notice.evidence) {
            say!("  {label}");
        }
        let plan = book.field(&identity.field).and_then(|field| field.plan.as_ref());
        let harvest = plan.map(|plan| limits::of_harvest(&book, plan, &notice.evidence));
        for line in harvest.unwrap_or_default() {
            say!("  {line}");
        }
        for line in plan.map(|plan| on_weeds::behind(plan, &notice.evidence)).unwrap_or_default() {
            say!("  {line}");
        }
        for queued in texts {
            say!("  text {}: {}", queued.text.id, queued.text.body.replace('\n', "\n    "));
        }
    }
    Ok(())
}

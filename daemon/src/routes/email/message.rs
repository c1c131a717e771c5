//! A text as an email: what stands in its headers, and which parts it has.

use super::super::{Edition, Outgoing};
use super::pictures;
use lettre::address::Envelope;
use lettre::message::header::{ContentType, HeaderName, HeaderValue};
use lettre::message::{Attachment, Mailbox, MessageBuilder, MultiPart, SinglePart};
use lettre::{Address, Message};
use std::time::SystemTime;

/// Characters of a subject before mail programs cut it; common practice, no source.
const SUBJECT: usize = 60;

/// The envelope and the message as it travels; `None` when the receiver is no address.
pub(super) fn compose(from: &Mailbox, text: &Outgoing) -> Option<(Envelope, Vec<u8>)> {
    // Without SMTPUTF8 (RFC 6531) the dialogue carries plain addresses only.
    let to: Address = text.to.is_ascii().then(|| text.to.parse().ok())??;
    let domain = from.email.domain();
    let edition = text.about.edition.as_ref();
    let key = edition.map_or_else(|| text.id.clone(), |edition| name(&text.about.person, edition));
    let mut builder = Message::builder()
        .from(from.clone())
        .to(to.into())
        .date(SystemTime::from(text.now))
        .message_id(Some(format!("<{key}@{domain}>")))
        .subject(subject(text))
        .raw_header(header("Auto-Submitted", "auto-generated"));
    if let Some(edition) = edition {
        builder = as_list(builder, &text.about.person, edition, domain);
    }
    let message = parts(builder, text, &format!("{key}@{domain}")).ok()?;
    Some((message.envelope().clone(), message.formatted()))
}

/// The same for every try at one day's digest, whichever row of the outbox carries it.
fn name(person: &str, edition: &Edition) -> String {
    format!("digest-{}-{person}", edition.date.format("%Y%m%d"))
}

/// Files the days of one advisor under one thread (RFC 5322, 3.6.4) and one list (RFC 2919), and
/// says how to leave it (RFC 8058).
fn as_list(
    builder: MessageBuilder,
    person: &str,
    edition: &Edition,
    domain: &str,
) -> MessageBuilder {
    let root = format!("<digest-{person}@{domain}>");
    let builder = builder
        .in_reply_to(root.clone())
        .references(root)
        .raw_header(header("List-ID", &format!("<digest.{domain}>")));
    match &edition.leave {
        None => builder,
        Some(address) => builder
            .raw_header(header("List-Unsubscribe", &format!("<{address}>")))
            .raw_header(header("List-Unsubscribe-Post", "List-Unsubscribe=One-Click")),
    }
}

fn header(name: &'static str, value: &str) -> HeaderValue {
    HeaderValue::new(HeaderName::new_from_ascii_str(name), value.to_owned())
}

/// The subject that it has, or the beginning of what it says.
fn subject(text: &Outgoing) -> String {
    if let Some(subject) = &text.subject {
        return subject.clone();
    }
    let line = text.body.lines().next().unwrap_or_default();
    if line.chars().count() <= SUBJECT {
        return line.to_owned();
    }
    let fits: String = line.chars().take(SUBJECT - 3).collect();
    let words = fits.rsplit_once(' ').map_or(fits.as_str(), |(words, _)| words);
    format!("{words}...")
}

fn parts(
    builder: MessageBuilder,
    text: &Outgoing,
    id: &str,
) -> Result<Message, lettre::error::Error> {
    let plain = SinglePart::plain(text.body.clone());
    let Some(html) = &text.html else { return builder.singlepart(plain) };
    let (page, pictures) = pictures::take_out(html, id);
    let page = SinglePart::html(page);
    let both = MultiPart::alternative().singlepart(plain);
    let both = if pictures.is_empty() {
        both.singlepart(page)
    } else {
        let page = MultiPart::related().singlepart(page);
        both.multipart(pictures.into_iter().fold(page, |page, picture| {
            let part = Attachment::new_inline(picture.id);
            page.singlepart(part.body(picture.png, content_type("image/png")))
        }))
    };
    match text.about.edition.as_ref().and_then(|edition| edition.calendar.as_ref()) {
        None => builder.multipart(both),
        Some(calendar) => {
            let kind = content_type("text/calendar; charset=utf-8; method=PUBLISH");
            let attached = Attachment::new("windows.ics".to_owned());
            let attached = attached.body(calendar.clone(), kind);
            builder.multipart(MultiPart::mixed().multipart(both).singlepart(attached))
        }
    }
}

fn content_type(written: &'static str) -> ContentType {
    ContentType::parse(written).expect("it is a content type by RFC 2045")
}

//! Pages that people's own programs open: leaving the digest with one click (RFC 8058), and the
//! calendar. Whoever holds the address may; there is no sign-in.

use crate::calendar::{self, Form};
use crate::links::Door;
use crate::rounds::Desk;
use crate::store::ListWord;
use axum::Router;
use axum::body::Bytes;
use axum::extract::{DefaultBodyLimit, Path, State};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use axum::routing::get;
use furrowbell_config::people::Person;
use sha2::{Digest as _, Sha256};
use tokio::sync::watch;

/// The list that the digest is, in the record.
pub const DIGEST: &str = "digest";
/// The pair that a mail program posts (RFC 8058, 3.1).
const LEAVE: (&str, &str) = ("List-Unsubscribe", "One-Click");
/// The pair of our own page's way back.
const RETURN: (&str, &str) = ("Digest", "Return");
/// No form of ours is longer.
const BODY_LIMIT: usize = 4096;

type Desks = watch::Receiver<Desk>;

/// The pages at their addresses. They follow the book through a reload.
pub fn router(desks: Desks) -> Router {
    Router::new()
        .route("/unsubscribe/{token}", get(ask).post(leave_or_return))
        .route("/calendar/{file}", get(feed))
        .layer(DefaultBodyLimit::max(BODY_LIMIT))
        .with_state(desks)
}

fn whose(desk: &Desk, door: Door, token: &str) -> Option<Person> {
    desk.links.as_ref()?.whose(door, token, &desk.book.people).cloned()
}

/// Programs that look at addresses by themselves must change nothing: it asks, with one button.
async fn ask(State(desks): State<Desks>, Path(token): Path<String>) -> Response {
    let desk = desks.borrow().clone();
    let Some(person) = whose(&desk, Door::LeaveDigest, &token) else { return unknown() };
    match desk.store.has_left(&person.id, DIGEST).await {
        Ok(true) => page(&desk, &person, "left", Some(("return_button", RETURN))),
        Ok(false) => page(&desk, &person, "leave_ask", Some(("leave_button", LEAVE))),
        Err(error) => away(&error),
    }
}

async fn leave_or_return(
    State(desks): State<Desks>,
    Path(token): Path<String>,
    headers: HeaderMap,
    body: Bytes,
) -> Response {
    let desk = desks.borrow().clone();
    let Some(person) = whose(&desk, Door::LeaveDigest, &token) else { return unknown() };
    let (word, said) = match pair(&headers, &body) {
        Some(pair) if pair == LEAVE => (ListWord::Leave, "left"),
        Some(pair) if pair == RETURN => (ListWord::Return, "returned"),
        _ => return StatusCode::BAD_REQUEST.into_response(),
    };
    let (id, now) = (desk.ids.make(), desk.clock.now());
    let list = (person.id.as_str(), DIGEST);
    match desk.store.record_list_word(&id, list, word, now, "one-click").await {
        Ok(()) => {
            tracing::warn!(person = person.id, ?word, "said whether the digest comes by mail");
            page(&desk, &person, said, None)
        }
        Err(error) => away(&error),
    }
}

/// The one pair of a form, whichever of the two encodings it came in (RFC 8058, 3.2).
fn pair<'a>(headers: &HeaderMap, body: &'a [u8]) -> Option<(&'a str, &'a str)> {
    let kind = headers.get(header::CONTENT_TYPE)?.to_str().ok()?;
    let body = std::str::from_utf8(body).ok()?;
    let (name, parameters) = kind.split_once(';').unwrap_or((kind, ""));
    if name.trim().eq_ignore_ascii_case("application/x-www-form-urlencoded") {
        return body.trim_end().split_once('=');
    }
    if !name.trim().eq_ignore_ascii_case("multipart/form-data") {
        return None;
    }
    let boundary = parameters.split(';').find_map(|one| one.trim().strip_prefix("boundary="))?;
    let boundary = format!("--{}", boundary.trim_matches('"'));
    let part = body.strip_prefix(boundary.as_str())?.strip_prefix("\r\n")?;
    let (part, rest) = part.split_once(&format!("\r\n{boundary}"))?;
    let (head, value) = part.split_once("\r\n\r\n")?;
    let (_, name) = head.split_once("name=\"")?;
    rest.starts_with("--").then_some((name.split_once('"')?.0, value))
}

/// `GET /calendar/TOKEN.ics`.
async fn feed(
    State(desks): State<Desks>,
    Path(file): Path<String>,
    headers: HeaderMap,
) -> Response {
    let desk = desks.borrow().clone();
    let token = file.strip_suffix(".ics").unwrap_or_default();
    let Some(person) = whose(&desk, Door::Calendar, token) else { return unknown() };
    let events = match desk.store.calendar(&person.id).await {
        Ok(events) => events,
        Err(error) => return away(&error),
    };
    let source = desk.links.as_ref().map(|links| links.calendar(&person.id));
    let Some(text) = calendar::written(&events, Form::Feed, source.as_deref(), desk.clock.now())
    else {
        return StatusCode::NO_CONTENT.into_response();
    };
    let tag = Sha256::digest(&text)[..8]
        .iter()
        .fold("\"".to_owned(), |tag, byte| format!("{tag}{byte:02x}"));
    let tag = format!("{tag}\"");
    let known = headers.get_all(header::IF_NONE_MATCH).iter();
    let mut known = known.filter_map(|value| value.to_str().ok()).flat_map(|list| list.split(','));
    if known.any(|one| one.trim().trim_start_matches("W/") == tag) {
        return (StatusCode::NOT_MODIFIED, [(header::ETAG, tag)]).into_response();
    }
    let kind = "text/calendar; charset=utf-8".to_owned();
    ([(header::CONTENT_TYPE, kind), (header::ETAG, tag)], text).into_response()
}

fn unknown() -> Response {
    StatusCode::NOT_FOUND.into_response()
}

fn away(error: &crate::store::Error) -> Response {
    tracing::error!(%error, "a page could not be answered");
    StatusCode::SERVICE_UNAVAILABLE.into_response()
}

fn page(
    desk: &Desk,
    person: &Person,
    said: &str,
    button: Option<(&str, (&str, &str))>,
) -> Response {
    let say = |key: &str| desk.wording.mail_page(person.language, key, &desk.book.service.name);
    let said = say(said);
    let form = button.map_or_else(String::new, |(label, (name, value))| {
        let label = say(label);
        format!(
            "<form method=\"post\"><button name=\"{name}\" value=\"{value}\" \
             style=\"font:inherit;padding:12px 20px\">{label}</button></form>"
        )
    });
    let language = person.language.code();
    let html = format!(
        "<!DOCTYPE html>\n<html lang=\"{language}\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\
         <title>{said}</title></head>\n<body style=\"margin:0 auto;padding:24px 16px;\
         max-width:520px;font:18px/1.45 system-ui,sans-serif;color:#1c1f1a\">\
         <p>{said}</p>{form}</body></html>\n"
    );
    // The address is a secret: it goes to no other site and into no store of pages.
    let headers = [(header::CACHE_CONTROL, "no-store"), (header::REFERRER_POLICY, "no-referrer")];
    (headers, Html(html)).into_response()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(kind: &str, body: &str) -> Option<(String, String)> {
        let headers = HeaderMap::from_iter([(header::CONTENT_TYPE, kind.parse().unwrap())]);
        pair(&headers, body.as_bytes()).map(|(name, value)| (name.to_owned(), value.to_owned()))
    }

    #[test]
    fn the_pair_is_read_from_both_encodings_and_nothing_else() {
        let one_click = Some(("List-Unsubscribe".to_owned(), "One-Click".to_owned()));
        let plain = "application/x-www-form-urlencoded";
        assert_eq!(read(plain, "List-Unsubscribe=One-Click"), one_click);
        let parts = "--x1\r\nContent-Disposition: form-data; name=\"List-Unsubscribe\"\r\n\r\n\
                     One-Click\r\n--x1--\r\n";
        assert_eq!(read("multipart/form-data; boundary=x1", parts), one_click);
        assert_eq!(read("multipart/form-data; boundary=\"x1\"", parts), one_click);
        assert_eq!(read("multipart/form-data; boundary=x2", parts), None);
        assert_eq!(read("application/json", "List-Unsubscribe=One-Click"), None);
        for other in ["", "List-Unsubscribe", "List-Unsubscribe=One-Click&more=1"] {
            assert_ne!(read(plain, other), one_click, "{other}");
        }
    }
}

//! SMS over any HTTP gateway that the settings can describe.

use super::retry_after::retry_after;
use super::{Outcome, Outgoing, RouteFault};
use base64::Engine as _;
use chrono::{DateTime, Utc};
use furrowbell_config::service::{self, Auth, BodyForm, NumberStyle, Secret, SuccessTest};
use reqwest::header::{self, HeaderMap, HeaderName, HeaderValue};
use reqwest::{Client, RequestBuilder, Response, StatusCode, Url};
use secrecy::ExposeSecret;
use serde_json::{Map, Value};
use std::time::Duration;

/// No answer that matters is longer.
const ANSWER_LIMIT: usize = 64 * 1024;

/// An HTTP gateway.
pub struct SmsHttp {
    settings: service::SmsHttp,
    url: Url,
    headers: HeaderMap,
    id_header: Option<HeaderName>,
    client: Client,
}

impl SmsHttp {
    pub(super) fn new(
        settings: &service::SmsHttp,
        secret: Option<&Secret>,
        client: Client,
    ) -> Result<Self, RouteFault> {
        let url = Url::parse(&settings.url).map_err(|_| RouteFault::Url)?;
        if !matches!(url.scheme(), "http" | "https") {
            return Err(RouteFault::Url);
        }
        refuse_clashes(settings)?;
        let id_header = settings
            .idempotency_header
            .as_deref()
            .map(|name| header_name(name, "routes.sms.idempotency_header"))
            .transpose()?;
        let headers = sign_in(&settings.auth, secret)?.into_iter().collect();
        Ok(Self { settings: settings.clone(), url, headers, id_header, client })
    }

    pub(super) const fn drops_repeats(&self) -> bool {
        self.settings.deduplicates
    }

    pub(super) const fn gives_receipts(&self) -> bool {
        self.settings.receipts.is_some()
    }

    pub(super) async fn send(&self, text: &Outgoing) -> Outcome {
        match self.request(text).send().await {
            Ok(answer) => self.judge(answer, text.now).await,
            Err(error) => without_answer(&error),
        }
    }

    fn request(&self, text: &Outgoing) -> RequestBuilder {
        let fields = self.fields(text);
        let url = self.url.clone();
        let request = match self.settings.body {
            BodyForm::Form => self.client.post(url).form(&fields),
            BodyForm::Query => self.client.get(url).query(&fields),
            BodyForm::Json => self.client.post(url).json(&nested(&fields)),
        };
        let request = request
            .headers(self.headers.clone())
            .timeout(Duration::from_secs(self.settings.timeout_s.into()));
        match &self.id_header {
            Some(name) => request.header(name, &text.id),
            None => request,
        }
    }

    /// Names and values as they go out.
    fn fields(&self, text: &Outgoing) -> Vec<(&str, Value)> {
        let names = &self.settings.fields;
        let constants = self.settings.constants.iter();
        let mut fields: Vec<(&str, Value)> =
            constants.map(|(name, value)| (name.as_str(), value.as_str().into())).collect();
        fields.push((&names.to, styled(&text.to, self.settings.number_style).into()));
        fields.push((&names.text, text.body.as_str().into()));
        if let Some(from) = &self.settings.from {
            fields.push((&names.from, from.as_str().into()));
        }
        if let Some(name) = &names.client_ref {
            fields.push((name, text.id.as_str().into()));
        }
        if let Some(name) = &names.validity_s {
            fields.push((name, (text.expires_at - text.now).num_seconds().max(1).into()));
        }
        fields
    }

    async fn judge(&self, answer: Response, now: DateTime<Utc>) -> Outcome {
        let status = answer.status();
        let test = &self.settings.success;
        if !(test.status_min..=test.status_max).contains(&status.as_u16()) {
            return refusal(status, answer.headers(), now);
        }
        match (whole_body(answer).await, looks_at_body(test)) {
            (Some(body), _) => accepted(test, &body).unwrap_or_else(|| Outcome::Refused {
                why: format!("the gateway's answer {} fails the success test", status.as_u16()),
            }),
            (None, false) => Outcome::Accepted { provider_ids: Vec::new() },
            (None, true) => Outcome::Unknown {
                why: "the connection broke inside the gateway's answer".to_owned(),
            },
        }
    }
}

fn refuse_clashes(settings: &service::SmsHttp) -> Result<(), RouteFault> {
    let service::SmsFields { to, from, text, client_ref, validity_s } = &settings.fields;
    let mut names: Vec<&str> = settings.constants.keys().map(String::as_str).collect();
    names.extend([to.as_str(), text]);
    names.extend(settings.from.as_ref().map(|_| from.as_str()));
    names.extend([client_ref, validity_s].into_iter().flatten().map(String::as_str));
    let inside = |outer: &str, inner: &str| {
        settings.body == BodyForm::Json
            && inner.strip_prefix(outer).is_some_and(|rest| rest.starts_with('.'))
    };
    for (position, first) in names.iter().enumerate() {
        for second in &names[position + 1..] {
            if first == second || inside(first, second) || inside(second, first) {
                let (first, second) = ((*first).to_owned(), (*second).to_owned());
                return Err(RouteFault::FieldsClash { first, second });
            }
        }
    }
    Ok(())
}

fn sign_in(
    auth: &Auth,
    secret: Option<&Secret>,
) -> Result<Option<(HeaderName, HeaderValue)>, RouteFault> {
    let need =
        |key| secret.map(ExposeSecret::expose_secret).ok_or(RouteFault::SecretMissing { key });
    let (name, text, key) = match auth {
        Auth::None => return Ok(None),
        Auth::Basic { user, .. } => {
            let key = "routes.sms.auth.password";
            let pair = format!("{user}:{}", need(key)?);
            let pair = base64::engine::general_purpose::STANDARD.encode(pair);
            (header::AUTHORIZATION, format!("Basic {pair}"), key)
        }
        Auth::Bearer { .. } => {
            let key = "routes.sms.auth.token";
            (header::AUTHORIZATION, format!("Bearer {}", need(key)?), key)
        }
        Auth::Header { name, .. } => {
            let key = "routes.sms.auth.value";
            (header_name(name, "routes.sms.auth.name")?, need(key)?.to_owned(), key)
        }
    };
    let mut value = HeaderValue::try_from(text).map_err(|_| RouteFault::Header { key })?;
    value.set_sensitive(true);
    Ok(Some((name, value)))
}

fn header_name(name: &str, key: &'static str) -> Result<HeaderName, RouteFault> {
    HeaderName::try_from(name).map_err(|_| RouteFault::Header { key })
}

fn styled(number: &str, style: NumberStyle) -> String {
    let digits = number.trim_start_matches('+');
    match style {
        NumberStyle::Plus => format!("+{digits}"),
        NumberStyle::Digits => digits.to_owned(),
        NumberStyle::DoubleZero => format!("00{digits}"),
    }
}

/// Dots in a name make objects inside objects.
fn nested(fields: &[(&str, Value)]) -> Value {
    let mut root = Value::Object(Map::new());
    for (path, value) in fields {
        // The names were checked for clashes, so every step of a path is an object.
        let place = path.split('.').fold(&mut root, |inner, step| &mut inner[step]);
        *place = value.clone();
    }
    root
}

/// Reqwest's own error text holds the address, and with it the number: none of it is repeated.
fn without_answer(error: &reqwest::Error) -> Outcome {
    if error.is_builder() {
        Outcome::Refused { why: "the request could not be built from the settings".to_owned() }
    } else if error.is_connect() {
        Outcome::Retry { why: "the gateway could not be reached".to_owned(), after: None }
    } else if error.is_timeout() {
        Outcome::Unknown { why: "the gateway did not answer in time".to_owned() }
    } else {
        Outcome::Unknown { why: "the connection broke before the gateway's answer".to_owned() }
    }
}

fn refusal(status: StatusCode, headers: &HeaderMap, now: DateTime<Utc>) -> Outcome {
    let why = format!("the gateway answered {}", status.as_u16());
    match status {
        StatusCode::UNAUTHORIZED | StatusCode::FORBIDDEN => Outcome::SignIn { why },
        StatusCode::TOO_MANY_REQUESTS | StatusCode::SERVICE_UNAVAILABLE => {
            Outcome::Retry { why, after: retry_after(headers, now) }
        }
        // The server never had the whole request (RFC 9110, 15.5.9), or would not look at it yet
        // (RFC 8470, 5.2).
        StatusCode::REQUEST_TIMEOUT | StatusCode::TOO_EARLY => Outcome::Retry { why, after: None },
        // Whatever stands behind the proxy may have taken the text (RFC 9110, 15.6.5).
        StatusCode::GATEWAY_TIMEOUT => Outcome::Unknown { why },
        _ if status.is_server_error() => Outcome::Retry { why, after: None },
        _ => Outcome::Refused { why },
    }
}

const fn looks_at_body(test: &SuccessTest) -> bool {
    test.json_pointer.is_some() || test.contains.is_some()
}

/// The answer's body up to the limit; `None` when the connection broke inside it.
async fn whole_body(mut answer: Response) -> Option<String> {
    let mut body = Vec::new();
    while body.len() < ANSWER_LIMIT {
        match answer.chunk().await {
            Ok(Some(chunk)) => body.extend_from_slice(&chunk),
            Ok(None) => break,
            Err(_) => return None,
        }
    }
    Some(String::from_utf8_lossy(&body).into_owned())
}

fn accepted(test: &SuccessTest, body: &str) -> Option<Outcome> {
    let json: Option<Value> = serde_json::from_str(body).ok();
    let at = |pointer: &String| json.as_ref()?.pointer(pointer).and_then(written);
    if let Some(pointer) = &test.json_pointer {
        let found = at(pointer)?;
        if test.equals.as_ref().is_some_and(|wanted| *wanted != found) {
            return None;
        }
    }
    if test.contains.as_ref().is_some_and(|wanted| !body.contains(wanted.as_str())) {
        return None;
    }
    let provider_ids = test.message_id_pointer.iter().filter_map(at).collect();
    Some(Outcome::Accepted { provider_ids })
}

/// A plain JSON value as text.
fn written(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Bool(_) | Value::Number(_) => Some(value.to_string()),
        Value::Null | Value::Array(_) | Value::Object(_) => None,
    }
}

#[cfg(test)]
mod tests;

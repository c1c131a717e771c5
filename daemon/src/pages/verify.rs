//! Whether a posted message is the gateway's own, by its raw body.

use axum::http::{HeaderMap, header};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, TimeDelta, Utc};
use furrowbell_config::service::{CodeEncoding, HmacHash, Secret, Verify};
use hmac::{Hmac, KeyInit, Mac};
use secrecy::ExposeSecret;
use sha1::Sha1;
use sha2::Sha256;
use subtle::ConstantTimeEq;

/// How far a signed time may lie from ours (Standard Webhooks 1.0.0 leaves the width open; five
/// minutes is common practice, no source).
const TOLERANCE: TimeDelta = TimeDelta::seconds(300);

/// Whether the message was made by somebody who knows the secret. Codes are compared in constant
/// time.
pub(super) fn is_genuine(
    verify: &Verify,
    secret: &Secret,
    headers: &HeaderMap,
    body: &[u8],
    now: DateTime<Utc>,
) -> bool {
    let secret = secret.expose_secret();
    let shown = |name: &str| headers.get(name).and_then(|value| value.to_str().ok());
    match verify {
        Verify::Header { name, .. } => shown(name).is_some_and(|shown| same(shown, secret)),
        Verify::Basic { user, .. } => {
            let wanted = format!("Basic {}", STANDARD.encode(format!("{user}:{secret}")));
            shown(header::AUTHORIZATION.as_str()).is_some_and(|shown| same(shown, &wanted))
        }
        Verify::Hmac { hash, encoding, header, prefix, .. } => {
            let code = shown(header).and_then(|shown| shown.strip_prefix(prefix.as_str()));
            let code = code.and_then(|code| decoded(code, *encoding));
            code.is_some_and(|code| match hash {
                HmacHash::Sha256 => carries::<Hmac<Sha256>>(secret.as_bytes(), body, &code),
                HmacHash::Sha1 => carries::<Hmac<Sha1>>(secret.as_bytes(), body, &code),
            })
        }
        Verify::StandardWebhooks { .. } => {
            standard_webhook(secret, &shown, body, now).unwrap_or(false)
        }
    }
}

/// Standard Webhooks 1.0.0: `id.timestamp.body`, any of several `v1,` codes.
fn standard_webhook<'a>(
    secret: &str,
    shown: &impl Fn(&str) -> Option<&'a str>,
    body: &[u8],
    now: DateTime<Utc>,
) -> Option<bool> {
    let key = STANDARD.decode(secret.strip_prefix("whsec_").unwrap_or(secret)).ok()?;
    let (id, stamp) = (shown("webhook-id")?, shown("webhook-timestamp")?);
    let at = DateTime::from_timestamp(stamp.parse().ok()?, 0)?;
    if (now - at).abs() > TOLERANCE {
        return Some(false);
    }
    let signed = [id.as_bytes(), b".", stamp.as_bytes(), b".", body].concat();
    let codes = shown("webhook-signature")?.split(' ');
    let mut codes = codes.filter_map(|code| STANDARD.decode(code.strip_prefix("v1,")?).ok());
    Some(codes.any(|code| carries::<Hmac<Sha256>>(&key, &signed, &code)))
}

fn carries<M: Mac + KeyInit>(key: &[u8], message: &[u8], code: &[u8]) -> bool {
    <M as KeyInit>::new_from_slice(key)
        .is_ok_and(|mac| mac.chain_update(message).verify_slice(code).is_ok())
}

fn decoded(code: &str, encoding: CodeEncoding) -> Option<Vec<u8>> {
    match encoding {
        CodeEncoding::Base64 => STANDARD.decode(code).ok(),
        CodeEncoding::Hex => {
            let digit =
                |sign: &u8| char::from(*sign).to_digit(16).and_then(|d| u8::try_from(d).ok());
            let digits = code.as_bytes().iter().map(digit).collect::<Option<Vec<u8>>>()?;
            let pairs = digits.chunks(2).map(|pair| match pair {
                [high, low] => Some(high << 4 | low),
                _ => None,
            });
            pairs.collect()
        }
    }
}

fn same(shown: &str, wanted: &str) -> bool {
    shown.as_bytes().ct_eq(wanted.as_bytes()).into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::{HeaderName, HeaderValue};

    fn genuine(verify: &str, secret: &str, headers: &[(&str, &str)], body: &str, at: i64) -> bool {
        let verify: Verify = toml::from_str(verify).unwrap();
        let headers = headers.iter().map(|(name, value)| {
            (HeaderName::try_from(*name).unwrap(), HeaderValue::try_from(*value).unwrap())
        });
        let now = DateTime::from_timestamp(at, 0).unwrap();
        is_genuine(&verify, &Secret::from(secret), &headers.collect(), body.as_bytes(), now)
    }

    /// RFC 4231, test case 2.
    #[test]
    fn a_code_over_the_raw_body_is_known() {
        let verify = "kind = \"hmac\"\nheader = \"X-Code\"\nprefix = \"sha256=\"\n\
                      secret = { env = \"KEY\" }";
        let code = "sha256=5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843";
        let text = "what do ya want for nothing?";
        assert!(genuine(verify, "Jefe", &[("x-code", code)], text, 0));
        assert!(!genuine(verify, "jefe", &[("x-code", code)], text, 0), "wrong key");
        assert!(!genuine(verify, "Jefe", &[("x-code", code)], "what do ya want for nothing!", 0));
        assert!(!genuine(verify, "Jefe", &[], text, 0), "missing header");
        assert!(!genuine(verify, "Jefe", &[("x-code", &code[7..])], text, 0), "missing prefix");
        assert!(!genuine(verify, "Jefe", &[("x-code", &code[..70])], text, 0), "cut code");
    }

    /// The vector of the Standard Webhooks reference libraries.
    #[test]
    fn a_standard_webhook_is_known_within_five_minutes() {
        const AT: i64 = 1_614_265_330;
        let verify = "kind = \"standard-webhooks\"\nsecret = { env = \"KEY\" }";
        let secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";
        let code = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=";
        let body = "{\"test\": 2432232314}";
        let id = ("webhook-id", "msg_p5jXN8AQM9LWM0D4loKWxJek");
        let stamp = ("webhook-timestamp", "1614265330");
        let signed = [id, stamp, ("webhook-signature", code)];
        assert!(genuine(verify, secret, &signed, body, AT));
        assert!(genuine(verify, secret, &signed, body, AT + 300));
        assert!(!genuine(verify, secret, &signed, body, AT + 301), "stale");
        assert!(!genuine(verify, secret, &signed, body, AT - 301), "from the future");
        assert!(!genuine(verify, secret, &signed, "{\"test\":2432232314}", AT), "written anew");
        assert!(!genuine(verify, "whsec_AAAA", &signed, body, AT), "wrong key");
        let other = [("webhook-id", "msg_other"), stamp, ("webhook-signature", code)];
        assert!(!genuine(verify, secret, &other, body, AT), "another id");
        for missing in 0..3 {
            let mut headers = signed.to_vec();
            headers.remove(missing);
            assert!(!genuine(verify, secret, &headers, body, AT), "without {missing}");
        }
        let rotated = format!("v1,AAAA {code}");
        assert!(genuine(verify, secret, &[id, stamp, ("webhook-signature", &rotated)], body, AT));
    }

    #[test]
    fn a_password_or_a_secret_header_must_be_the_very_one() {
        let basic = "kind = \"basic\"\nuser = \"desk\"\npassword = { env = \"KEY\" }";
        // RFC 7617: base64 of "desk:hush".
        let shown = [("authorization", "Basic ZGVzazpodXNo")];
        assert!(genuine(basic, "hush", &shown, "", 0));
        assert!(!genuine(basic, "hush!", &shown, "", 0));
        let header = "kind = \"header\"\nsecret = { env = \"KEY\" }";
        assert!(genuine(header, "hush", &[("x-hook-secret", "hush")], "", 0));
        assert!(!genuine(header, "hush", &[("x-hook-secret", "")], "", 0));
        assert!(!genuine(header, "hush", &[], "", 0));
    }
}

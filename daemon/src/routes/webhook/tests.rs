use super::*;
use crate::routes::samples;
use proptest::prelude::*;
use wiremock::matchers::{method, path};
use wiremock::{Mock, MockServer, Request, ResponseTemplate};

/// The key of the spec's reference tests.
const SPEC_KEY: &str = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";
const OTHER_KEY: &str = "QUJDREVGR0hJSktMTU5PUFFSU1RVVldYWVo=";

fn webhook(url: &str, more: &str, keys: &str) -> Result<Webhook, RouteFault> {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let settings = format!("url = \"{url}\"\nsecret = {{ env = \"HOOK\" }}\ntimeout_s = 1\n{more}");
    let none = reqwest::redirect::Policy::none();
    let client = Client::builder().no_proxy().redirect(none).build().unwrap();
    Webhook::new(&toml::from_str(&settings).unwrap(), &keys.into(), client)
}

async fn answered(answer: ResponseTemplate) -> (Outcome, Vec<Request>) {
    let server = MockServer::start().await;
    Mock::given(method("POST")).and(path("/hook")).respond_with(answer).mount(&server).await;
    let hook = webhook(&format!("{}/hook", server.uri()), "", SPEC_KEY).unwrap();
    let outcome = hook.send(&samples::text()).await;
    (outcome, server.received_requests().await.unwrap())
}

/// Standard Webhooks, `libraries/go/webhook_test.go`: this key, id, time and body give this
/// signature.
#[test]
fn a_signature_is_that_of_the_reference() {
    let keys = [key(SPEC_KEY).unwrap()];
    let id = "msg_p5jXN8AQM9LWM0D4loKWxJek";
    let signature = signatures(&keys, id, 1_614_265_330, "{\"test\": 2432232314}");
    assert_eq!(signature, "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=");
}

#[test]
fn while_keys_are_changed_both_sign() {
    let (old, new) = (key(SPEC_KEY).unwrap(), key(OTHER_KEY).unwrap());
    let one = |key: &Key| signatures(std::slice::from_ref(key), "1", 2, "{}");
    let both = signatures(&[new.clone(), old.clone()], "1", 2, "{}");
    assert_eq!(both, format!("{} {}", one(&new), one(&old)));
    assert_ne!(one(&new), one(&old));
}

#[tokio::test]
async fn a_program_is_told_all_but_numbers() {
    let (outcome, requests) = answered(ResponseTemplate::new(202)).await;
    assert_eq!(outcome, Outcome::Accepted { provider_ids: Vec::new() });
    let [request] = &requests[..] else { panic!("{} requests", requests.len()) };
    let text = samples::text();
    assert_eq!(request.headers["webhook-id"], text.id.as_str());
    assert_eq!(request.headers["webhook-timestamp"], "1779278400");
    assert_eq!(request.headers["content-type"], "application/json");
    let body: Value = serde_json::from_slice(&request.body).unwrap();
    let expected = json!({
        "type": "text.reply",
        "timestamp": "2026-05-20T12:00:00Z",
        "data": {
            "id": text.id,
            "person": "ann",
            "kind": "reply",
            "urgency": "routine",
            "subject": null,
            "text": text.body,
            "act_by": null,
            "expires_at": "2026-05-20T13:00:00Z",
            "fields": [],
        },
    });
    assert_eq!(body, expected);
    assert!(!String::from_utf8_lossy(&request.body).contains("5550123"));
}

#[tokio::test]
async fn a_chat_program_gets_the_words_alone() {
    let server = MockServer::start().await;
    Mock::given(method("POST")).respond_with(ResponseTemplate::new(200)).mount(&server).await;
    let hook = webhook(&server.uri(), "form = \"text\"", SPEC_KEY).unwrap();
    assert!(!hook.drops_repeats() && webhook("http://x", "", SPEC_KEY).unwrap().drops_repeats());
    let mut digest = samples::text();
    digest.about.kind = TextKind::Digest;
    digest.body = "1. Ray Holt  +15155550142\n  - North 80: +3 days".to_owned();
    hook.send(&digest).await;
    let requests = server.received_requests().await.unwrap();
    let body: Value = serde_json::from_slice(&requests[0].body).unwrap();
    assert_eq!(body, json!({ "text": "1. Ray Holt\n  - North 80: +3 days" }));
}

#[tokio::test]
async fn every_answer_has_its_outcome() {
    let minute = || ResponseTemplate::new(429).insert_header("Retry-After", "60");
    let (outcome, _) = answered(minute()).await;
    assert!(matches!(outcome, Outcome::Retry { after: Some(after), .. } if after.as_secs() == 60));
    let dated =
        ResponseTemplate::new(503).insert_header("Retry-After", "Wed, 20 May 2026 12:02:00 GMT");
    let (outcome, _) = answered(dated).await;
    assert!(matches!(outcome, Outcome::Retry { after: Some(after), .. } if after.as_secs() == 120));
    for status in [408, 425, 500, 502, 504] {
        let (outcome, _) = answered(ResponseTemplate::new(status)).await;
        assert!(matches!(outcome, Outcome::Retry { after: None, .. }), "{status}: {outcome:?}");
    }
    for status in [400, 404, 410, 413, 422] {
        let (outcome, _) = answered(ResponseTemplate::new(status)).await;
        assert!(matches!(outcome, Outcome::Refused { .. }), "{status}: {outcome:?}");
    }
    for status in [401, 403] {
        let (outcome, _) = answered(ResponseTemplate::new(status)).await;
        assert!(matches!(outcome, Outcome::SignIn { .. }), "{status}: {outcome:?}");
    }
}

#[tokio::test]
async fn a_redirect_is_not_followed() {
    let elsewhere = ResponseTemplate::new(307).insert_header("Location", "/hook");
    let (outcome, requests) = answered(elsewhere).await;
    assert!(matches!(outcome, Outcome::Refused { .. }), "{outcome:?}");
    assert_eq!(requests.len(), 1);
}

#[tokio::test]
async fn silence_may_hide_a_yes_and_a_closed_port_hides_nothing() {
    let (outcome, _) = answered(ResponseTemplate::new(200).set_delay(Duration::from_secs(3))).await;
    assert!(matches!(outcome, Outcome::Unknown { .. }), "{outcome:?}");
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let hook = webhook(&format!("http://127.0.0.1:{port}"), "", SPEC_KEY).unwrap();
    let outcome = hook.send(&samples::text()).await;
    assert!(matches!(outcome, Outcome::Retry { .. }), "{outcome:?}");
}

#[test]
fn faulty_settings_are_refused_when_the_route_is_made() {
    let fault = |url, keys| webhook(url, "", keys).err().map(|fault| fault.to_string()).unwrap();
    assert!(fault("desk", SPEC_KEY).contains("routes.webhook.url"));
    for keys in ["", "no base64!", "c2hvcnQ=", &format!("{SPEC_KEY} c2hvcnQ=")] {
        assert!(fault("http://x", keys).contains("routes.webhook.secret"), "{keys}");
    }
}

proptest! {
    #[test]
    fn no_number_is_left_and_nothing_else_is_lost(
        before in "[a-z .]{0,20}", number in "\\+[1-9][0-9]{6,14}", after in "[a-z .]{0,20}"
    ) {
        let left = without_numbers(&format!("{before}{number}{after}"));
        prop_assert_eq!(left, format!("{}{after}", before.trim_end_matches(' ')));
        let short = format!("{before}+123{after}");
        prop_assert_eq!(without_numbers(&short), short.as_str());
    }
}

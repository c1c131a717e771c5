use super::*;
use crate::routes::samples;
use furrowbell_config::service::SecretSource;
use std::io::{Read as _, Write as _};
use std::net::TcpListener;
use wiremock::matchers::{body_json, body_string, header, method, query_param};
use wiremock::{Mock, MockServer, ResponseTemplate};

fn client() -> Client {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let policy = reqwest::redirect::Policy::none();
    Client::builder().redirect(policy).no_proxy().build().unwrap()
}

fn settings(url: &str, more: &str) -> service::SmsHttp {
    toml::from_str(&format!("url = \"{url}/send\"\n{more}")).unwrap()
}

fn gateway(settings: &service::SmsHttp) -> SmsHttp {
    SmsHttp::new(settings, Some(&Secret::from("hush")), client()).unwrap()
}

async fn answered(answer: ResponseTemplate, more: &str) -> Outcome {
    let server = MockServer::start().await;
    Mock::given(method("POST")).respond_with(answer).expect(1).mount(&server).await;
    let outcome = gateway(&settings(&server.uri(), more)).send(&samples::text()).await;
    let why = match &outcome {
        Outcome::Accepted { .. } => "",
        Outcome::Retry { why, .. }
        | Outcome::Refused { why }
        | Outcome::SignIn { why }
        | Outcome::Unknown { why } => why,
    };
    assert!(!why.contains("5555550") && !why.contains("North") && !why.contains("http"), "{why}");
    outcome
}

async fn outcome_of(status: u16) -> Outcome {
    answered(ResponseTemplate::new(status), "").await
}

#[tokio::test]
async fn a_form_carries_every_field_and_our_id() {
    let server = MockServer::start().await;
    Mock::given(method("POST"))
        .and(header("Content-Type", "application/x-www-form-urlencoded"))
        .and(header("Idempotency-Key", samples::text().id.as_str()))
        .and(body_string(
            "route=farm&number=0015155550123&msg=North+80%3A+plan+the+post+pass+%26+go.\
             &sender=12345&ref=0196f0c0-0000-7000-8000-000000000001&ttl=3600",
        ))
        .respond_with(ResponseTemplate::new(202))
        .expect(1)
        .mount(&server)
        .await;
    let settings = settings(
        &server.uri(),
        "from = \"12345\"\nnumber_style = \"double-zero\"\nconstants = { route = \"farm\" }\n\
         fields = { to = \"number\", from = \"sender\", text = \"msg\", client_ref = \"ref\", \
         validity_s = \"ttl\" }",
    );
    let outcome = gateway(&settings).send(&samples::text()).await;
    assert_eq!(outcome, Outcome::Accepted { provider_ids: Vec::new() });
}

#[tokio::test]
async fn json_nests_by_dots_and_signs_in_with_a_token() {
    let server = MockServer::start().await;
    Mock::given(method("POST"))
        .and(header("Authorization", "Bearer hush"))
        .and(body_json(serde_json::json!({
            "message": { "to": "15155550123", "body": { "text": samples::text().body }, "ttl": 3600 },
            "kind": "plain",
        })))
        .respond_with(ResponseTemplate::new(200).set_body_json(serde_json::json!({
            "result": { "ok": true, "ids": [{ "id": 4711 }] },
        })))
        .expect(1)
        .mount(&server)
        .await;
    let settings = settings(
        &server.uri(),
        "body = \"json\"\nnumber_style = \"digits\"\nconstants = { kind = \"plain\" }\n\
         fields = { to = \"message.to\", text = \"message.body.text\", validity_s = \"message.ttl\" }\n\
         auth = { kind = \"bearer\", token = { env = \"TOKEN\" } }\n\
         success = { json_pointer = \"/result/ok\", equals = \"true\", \
         message_id_pointer = \"/result/ids/0/id\" }",
    );
    let outcome = gateway(&settings).send(&samples::text()).await;
    assert_eq!(outcome, Outcome::Accepted { provider_ids: vec!["4711".to_owned()] });
}

#[tokio::test]
async fn a_query_signs_in_with_user_and_password() {
    let server = MockServer::start().await;
    Mock::given(method("GET"))
        // RFC 7617: base64 of "desk:hush".
        .and(header("Authorization", "Basic ZGVzazpodXNo"))
        .and(query_param("to", "+15155550123"))
        .and(query_param("text", samples::text().body))
        .respond_with(ResponseTemplate::new(200).set_body_string("0: Accepted"))
        .expect(1)
        .mount(&server)
        .await;
    let settings = settings(
        &server.uri(),
        "body = \"query\"\nsuccess = { contains = \"Accepted\" }\n\
         auth = { kind = \"basic\", user = \"desk\", password = { env = \"PASSWORD\" } }",
    );
    let outcome = gateway(&settings).send(&samples::text()).await;
    assert_eq!(outcome, Outcome::Accepted { provider_ids: Vec::new() });
}

#[tokio::test]
async fn a_header_of_the_gateways_own_signs_in() {
    let server = MockServer::start().await;
    Mock::given(header("X-Api-Key", "hush"))
        .respond_with(ResponseTemplate::new(200))
        .expect(1)
        .mount(&server)
        .await;
    let settings = settings(
        &server.uri(),
        "auth = { kind = \"header\", name = \"X-Api-Key\", value = { env = \"KEY\" } }",
    );
    let gateway = gateway(&settings);
    assert!(matches!(gateway.send(&samples::text()).await, Outcome::Accepted { .. }));
    assert!(!format!("{:?}", gateway.headers).contains("hush"), "the secret shows in logs");
}

#[tokio::test]
async fn a_200_that_fails_the_test_is_a_refusal() {
    let error_inside = ResponseTemplate::new(200)
        .set_body_json(serde_json::json!({ "status": "error", "to": "+15155550123" }));
    let pointer = "success = { json_pointer = \"/status\", equals = \"ok\" }";
    let outcome = answered(error_inside.clone(), pointer).await;
    assert!(matches!(outcome, Outcome::Refused { .. }), "{outcome:?}");
    let absent = "success = { json_pointer = \"/id\" }";
    assert!(matches!(answered(error_inside, absent).await, Outcome::Refused { .. }));
    let text = ResponseTemplate::new(200).set_body_string("ERR 7");
    assert!(matches!(
        answered(text, "success = { contains = \"OK\" }").await,
        Outcome::Refused { .. }
    ));
}

#[tokio::test]
async fn statuses_map_to_outcomes() {
    for status in [401, 403] {
        assert!(matches!(outcome_of(status).await, Outcome::SignIn { .. }), "{status}");
    }
    for status in [400, 404, 410, 422, 302] {
        assert!(matches!(outcome_of(status).await, Outcome::Refused { .. }), "{status}");
    }
    for status in [408, 425, 429, 500, 502, 503] {
        let outcome = outcome_of(status).await;
        assert!(matches!(outcome, Outcome::Retry { after: None, .. }), "{status}");
    }
    assert!(matches!(outcome_of(504).await, Outcome::Unknown { .. }));
}

#[tokio::test]
async fn retry_after_is_obeyed_in_both_spellings() {
    let cases = [
        (429, "7", Some(7)),
        (503, "120", Some(120)),
        // Ninety seconds after the sample's moment of sending.
        (503, "Wed, 20 May 2026 12:01:30 GMT", Some(90)),
        (503, "Wed, 20 May 2026 11:00:00 GMT", Some(0)),
        (429, "99999999999", Some(24 * 3600)),
        (429, "soon", None),
    ];
    for (status, header, seconds) in cases {
        let answer = ResponseTemplate::new(status).insert_header("Retry-After", header);
        match answered(answer, "").await {
            Outcome::Retry { after, .. } => {
                assert_eq!(after, seconds.map(Duration::from_secs), "{header}");
            }
            other => panic!("{header}: {other:?}"),
        }
    }
}

#[tokio::test]
async fn a_closed_port_is_tried_again() {
    let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let settings = settings(&format!("http://127.0.0.1:{port}"), "");
    let outcome = gateway(&settings).send(&samples::text()).await;
    assert!(matches!(outcome, Outcome::Retry { after: None, .. }), "{outcome:?}");
}

#[tokio::test]
async fn silence_after_the_request_leaves_the_outcome_unknown() {
    let slow = ResponseTemplate::new(200).set_delay(Duration::from_secs(5));
    let outcome = answered(slow, "timeout_s = 1").await;
    assert!(matches!(outcome, Outcome::Unknown { .. }), "{outcome:?}");
}

/// Takes one request, writes `answer` and hangs up.
fn hang_up_after(answer: &'static str) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let address = format!("http://{}", listener.local_addr().unwrap());
    std::thread::spawn(move || {
        let (mut stream, _) = listener.accept().unwrap();
        let mut request = [0; 4096];
        let mut read = 0;
        while !request[..read].windows(2).any(|pair| pair == b"go") {
            read += stream.read(&mut request[read..]).unwrap();
        }
        stream.write_all(answer.as_bytes()).unwrap();
    });
    address
}

#[tokio::test]
async fn a_hang_up_after_the_request_leaves_the_outcome_unknown() {
    let outcome = gateway(&settings(&hang_up_after(""), "")).send(&samples::text()).await;
    assert!(matches!(outcome, Outcome::Unknown { .. }), "{outcome:?}");
}

#[tokio::test]
async fn a_cut_answer_counts_by_its_status_unless_the_test_needs_the_body() {
    let cut = "HTTP/1.1 200 OK\r\nContent-Length: 40\r\n\r\n{\"stat";
    let outcome = gateway(&settings(&hang_up_after(cut), "")).send(&samples::text()).await;
    assert_eq!(outcome, Outcome::Accepted { provider_ids: Vec::new() });
    let tested = settings(&hang_up_after(cut), "success = { contains = \"OK\" }");
    let outcome = gateway(&tested).send(&samples::text()).await;
    assert!(matches!(outcome, Outcome::Unknown { .. }), "{outcome:?}");
}

#[test]
fn faulty_settings_are_refused_when_the_route_is_made() {
    let fault = |settings: &service::SmsHttp, secret: Option<&Secret>| {
        SmsHttp::new(settings, secret, client()).err().map(|fault| fault.to_string()).unwrap()
    };
    let mut faulty = settings("https://gateway.test", "");
    faulty.url = "gateway.test/send".to_owned();
    assert!(fault(&faulty, None).contains("routes.sms.url"));

    faulty = settings("https://gateway.test", "");
    faulty.auth = Auth::Bearer { token: SecretSource::Env("TOKEN".to_owned()) };
    assert!(fault(&faulty, None).contains("routes.sms.auth.token"));
    assert!(fault(&faulty, Some(&"a\nb".into())).contains("routes.sms.auth.token"));

    faulty = settings("https://gateway.test", "constants = { \"to.kind\" = \"mobile\" }");
    faulty.body = BodyForm::Json;
    assert!(fault(&faulty, None).contains("\"to.kind\" and \"to\""));
    faulty.body = BodyForm::Form;
    assert!(SmsHttp::new(&faulty, None, client()).is_ok());

    faulty = settings("https://gateway.test", "constants = { to = \"x\" }");
    assert!(fault(&faulty, None).contains("\"to\" and \"to\""));
}

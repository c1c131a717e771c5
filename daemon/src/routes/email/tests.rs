use super::*;
use crate::routes::samples;
use std::io::{BufRead as _, BufReader, Write as _};
use std::net::{TcpListener, TcpStream};
use std::sync::mpsc::{Receiver, channel};

/// What the server says instead of yes, and to which command.
#[derive(Clone, Copy)]
enum Twist {
    None,
    Says(&'static str, &'static str),
    HangsUpAt(&'static str),
    Silent(&'static str),
}

struct Server {
    port: u16,
    mail: Receiver<String>,
}

/// A mail server for one connection, on the loopback.
fn serve(twist: Twist) -> Server {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let (sender, mail) = channel();
    std::thread::spawn(move || {
        let (stream, _) = listener.accept().unwrap();
        // The client hanging up ends the talk; it is no fault of the server's.
        let _ = talk(stream, twist, |mail| sender.send(mail).unwrap());
    });
    Server { port, mail }
}

fn talk(stream: TcpStream, twist: Twist, keep: impl Fn(String)) -> std::io::Result<()> {
    let mut lines = BufReader::new(stream.try_clone()?).lines();
    let mut stream = stream;
    let mut answer = |step: &str, usual: &str| -> std::io::Result<bool> {
        let line = match twist {
            Twist::Says(at, line) if at == step => line,
            Twist::HangsUpAt(at) if at == step => return Ok(false),
            Twist::Silent(at) if at == step => {
                std::thread::sleep(Duration::from_secs(3));
                return Ok(false);
            }
            _ => usual,
        };
        stream.write_all(format!("{line}\r\n").as_bytes())?;
        Ok(true)
    };
    if !answer("HELLO", "220 relay.test")? {
        return Ok(());
    }
    while let Some(line) = lines.next().transpose()? {
        let step = line.split([' ', ':']).next().unwrap_or_default().to_owned();
        let usual = match step.as_str() {
            "EHLO" => "250-relay.test\r\n250 AUTH PLAIN",
            "AUTH" => "235 ok",
            "DATA" => "354 go ahead",
            "QUIT" => "221 bye",
            _ => "250 ok",
        };
        if !answer(&step, usual)? {
            return Ok(());
        }
        if step == "DATA" && !matches!(twist, Twist::Says("DATA", _)) {
            let mail: Vec<String> =
                lines.by_ref().map_while(Result::ok).take_while(|line| line != ".").collect();
            keep(mail.join("\n"));
            if !answer("END", "250 queued as 7")? {
                return Ok(());
            }
        }
    }
    Ok(())
}

fn settings(port: u16) -> service::Email {
    toml::from_str(&format!(
        "host = \"127.0.0.1\"\nport = {port}\nsecurity = \"plain-loopback\"\n\
         from = \"Prairie Desk <desk@prairie.test>\"\nuser = \"desk\"\n\
         password = {{ env = \"PASSWORD\" }}\ntimeout_s = 1"
    ))
    .unwrap()
}

fn digest() -> Outgoing {
    Outgoing {
        to: "ann@farm.test".to_owned(),
        subject: Some("Wed May 20: 2 to call".to_owned()),
        body: "North 80: call first.\n.hidden".to_owned(),
        html: Some("<p>North 80: call first.</p>".to_owned()),
        ..samples::text()
    }
}

async fn sent(twist: Twist) -> Outcome {
    let server = serve(twist);
    let email = Email::new(&settings(server.port), Some(&"hush".into())).unwrap();
    let outcome = email.send(&digest()).await;
    let shown = format!("{outcome:?}");
    assert!(!shown.contains("ann@") && !shown.contains("North"), "{shown}");
    outcome
}

#[tokio::test]
async fn a_digest_arrives_whole_under_its_own_id() {
    let server = serve(Twist::None);
    let email = Email::new(&settings(server.port), Some(&"hush".into())).unwrap();
    assert_eq!(email.send(&digest()).await, Outcome::Accepted { provider_ids: Vec::new() });
    let mail = server.mail.recv_timeout(Duration::from_secs(5)).unwrap();
    for line in [
        "Message-ID: <0196f0c0-0000-7000-8000-000000000001@prairie.test>",
        "Date: Wed, 20 May 2026 12:00:00 +0000",
        "Auto-Submitted: auto-generated",
        "Subject: Wed May 20: 2 to call",
        "To: ann@farm.test",
        // RFC 5321, 4.5.2: a leading dot is doubled on the way.
        "..hidden",
        "<p>North 80: call first.</p>",
    ] {
        assert!(mail.lines().any(|found| found == line), "no \"{line}\" in\n{mail}");
    }
    assert!(mail.contains("Content-Type: multipart/alternative"), "{mail}");
    let plain = mail.find("text/plain").unwrap();
    assert!(plain < mail.find("text/html").unwrap(), "the plain part comes first");
}

#[tokio::test]
async fn a_text_without_html_is_one_plain_part() {
    let server = serve(Twist::None);
    let email = Email::new(&settings(server.port), Some(&"hush".into())).unwrap();
    let text = Outgoing { html: None, subject: None, ..digest() };
    assert_eq!(email.send(&text).await, Outcome::Accepted { provider_ids: Vec::new() });
    let mail = server.mail.recv_timeout(Duration::from_secs(5)).unwrap();
    assert!(mail.contains("Content-Type: text/plain"), "{mail}");
    assert!(!mail.contains("multipart"), "{mail}");
}

#[tokio::test]
async fn a_temporary_no_is_tried_again() {
    for step in ["HELLO", "MAIL", "RCPT", "DATA", "END"] {
        let outcome = sent(Twist::Says(step, "451 later, ann@farm.test")).await;
        assert!(matches!(outcome, Outcome::Retry { after: None, .. }), "{step}: {outcome:?}");
    }
    assert!(matches!(sent(Twist::Says("AUTH", "454 later")).await, Outcome::Retry { .. }));
}

#[tokio::test]
async fn a_lasting_no_is_final() {
    for step in ["MAIL", "RCPT", "DATA", "END"] {
        let outcome = sent(Twist::Says(step, "550 no ann@farm.test here")).await;
        assert!(matches!(outcome, Outcome::Refused { .. }), "{step}: {outcome:?}");
    }
}

#[tokio::test]
async fn being_kept_out_calls_a_person() {
    for (step, line) in
        [("AUTH", "535 wrong password"), ("HELLO", "554 not you"), ("MAIL", "530 sign in first")]
    {
        let outcome = sent(Twist::Says(step, line)).await;
        assert!(matches!(outcome, Outcome::SignIn { .. }), "{step}: {outcome:?}");
    }
    let no_sign_in = sent(Twist::Says("EHLO", "250 relay.test")).await;
    assert!(matches!(no_sign_in, Outcome::SignIn { .. }), "{no_sign_in:?}");
}

#[tokio::test]
async fn nothing_is_said_in_the_clear_when_tls_is_wanted() {
    let server = serve(Twist::None);
    let starttls = service::Email { security: SmtpSecurity::Starttls, ..settings(server.port) };
    let email = Email::new(&starttls, Some(&"hush".into())).unwrap();
    let outcome = email.send(&digest()).await;
    assert!(matches!(outcome, Outcome::SignIn { .. }), "{outcome:?}");
    assert!(server.mail.recv_timeout(Duration::from_secs(1)).is_err());
}

#[tokio::test]
async fn a_break_counts_by_whether_the_message_was_handed_over() {
    for step in ["HELLO", "MAIL", "RCPT", "DATA"] {
        let outcome = sent(Twist::HangsUpAt(step)).await;
        assert!(matches!(outcome, Outcome::Retry { .. }), "{step}: {outcome:?}");
    }
    let outcome = sent(Twist::HangsUpAt("END")).await;
    assert!(matches!(outcome, Outcome::Unknown { .. }), "{outcome:?}");
}

#[tokio::test]
async fn silence_counts_by_whether_the_message_was_handed_over() {
    assert!(matches!(sent(Twist::Silent("RCPT")).await, Outcome::Retry { .. }));
    assert!(matches!(sent(Twist::Silent("END")).await, Outcome::Unknown { .. }));
}

#[tokio::test]
async fn a_closed_port_is_tried_again() {
    let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
    let email = Email::new(&settings(port), Some(&"hush".into())).unwrap();
    assert!(matches!(email.send(&digest()).await, Outcome::Retry { .. }));
}

#[tokio::test]
async fn a_receiver_without_an_address_is_refused() {
    let email = Email::new(&settings(1), Some(&"hush".into())).unwrap();
    assert!(matches!(email.send(&samples::text()).await, Outcome::Refused { .. }));
}

#[test]
fn faulty_settings_are_refused_when_the_route_is_made() {
    let fault = |settings: &service::Email| {
        Email::new(settings, None).err().map(|fault| fault.to_string()).unwrap()
    };
    assert!(fault(&settings(25)).contains("routes.email.password"));
    let mut faulty = settings(25);
    faulty.from = "desk".to_owned();
    assert!(fault(&faulty).contains("routes.email.from"));
    faulty = settings(25);
    faulty.host = "relay.test".to_owned();
    assert!(fault(&faulty).contains("plain-loopback"));
    faulty.security = SmtpSecurity::Implicit;
    faulty.user = None;
    assert!(Email::new(&faulty, None).is_ok());
}

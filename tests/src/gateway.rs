//! A loopback SMS gateway that counts what it is given.

use axum::Router;
use axum::extract::State;
use axum::http::{HeaderMap, StatusCode};
use axum::routing::post;
use std::collections::BTreeSet;
use std::sync::{Arc, Mutex};
use tokio::net::TcpListener;

/// One text as the gateway saw it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Seen {
    /// Idempotency key, empty when none was sent.
    pub key: String,
    /// Receiver.
    pub to: String,
    /// The text.
    pub text: String,
}

#[derive(Debug, Default)]
struct Book {
    requests: usize,
    keys: BTreeSet<String>,
    delivered: Vec<Seen>,
    down: bool,
    deduplicates: bool,
    accept_but_hang: usize,
}

/// The gateway; clones share one record.
#[derive(Debug, Clone)]
pub struct Gateway {
    book: Arc<Mutex<Book>>,
    url: String,
}

impl Gateway {
    /// Starts on a free loopback port. With `deduplicates` it delivers one key once.
    pub async fn start(deduplicates: bool) -> Self {
        let book = Arc::new(Mutex::new(Book { deduplicates, ..Book::default() }));
        let router = Router::new().route("/send", post(take)).with_state(Arc::clone(&book));
        let listener = TcpListener::bind("127.0.0.1:0").await.expect("a loopback port is free");
        let url = format!("http://{}/send", listener.local_addr().expect("a bound port"));
        tokio::spawn(async move { axum::serve(listener, router).await });
        Self { book, url }
    }

    /// Address to send to.
    pub fn url(&self) -> &str {
        &self.url
    }

    /// Answers 503 from now on, or no longer.
    pub fn set_down(&self, down: bool) {
        self.lock().down = down;
    }

    /// Delivers the next `count` texts but never answers them.
    pub fn hang_after_accepting(&self, count: usize) {
        self.lock().accept_but_hang = count;
    }

    /// What reached phones, in order.
    pub fn delivered(&self) -> Vec<Seen> {
        self.lock().delivered.clone()
    }

    /// How many requests came at all.
    pub fn requests(&self) -> usize {
        self.lock().requests
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, Book> {
        self.book.lock().expect("no holder of the record panics")
    }
}

async fn take(
    State(book): State<Arc<Mutex<Book>>>,
    headers: HeaderMap,
    axum::Form(form): axum::Form<Vec<(String, String)>>,
) -> (StatusCode, String) {
    let field = |name: &str| {
        form.iter().find(|(key, _)| key == name).map(|(_, value)| value.clone()).unwrap_or_default()
    };
    let key = headers
        .get("Idempotency-Key")
        .and_then(|value| value.to_str().ok())
        .unwrap_or_default()
        .to_owned();
    let hang = {
        let mut book = book.lock().expect("no holder of the record panics");
        book.requests += 1;
        if book.down {
            return (StatusCode::SERVICE_UNAVAILABLE, "down".to_owned());
        }
        let new = book.keys.insert(key.clone());
        if new || !book.deduplicates {
            book.delivered.push(Seen { key, to: field("to"), text: field("text") });
        }
        let hang = book.accept_but_hang > 0;
        book.accept_but_hang = book.accept_but_hang.saturating_sub(1);
        hang
    };
    if hang {
        std::future::pending::<()>().await;
    }
    (StatusCode::ACCEPTED, "accepted".to_owned())
}

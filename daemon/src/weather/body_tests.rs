//! Bodies that a sound server never sends, over a bare socket: time and memory stay within bounds,
//! and the next answer is read as if nothing had been.

use super::cells::Cell;
use super::nws::Nws;
use super::source::{Answer, Area, Known, Source, SourceName};
use crate::clock::Clock;
use crate::weather::body::{IDLE, MAX_BODY, Notes, Reader, redirects};
use crate::weather::fault::{Fault, Verdict, What};
use std::time::{Duration, Instant};
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;

const GRID: &[u8] = include_bytes!("testdata/small_grid.json");
const PACKED: &[u8] = include_bytes!("testdata/small_grid.json.gz");
const MEGABYTE: usize = 1024 * 1024;
/// What may be on its way in the buffers of both sockets when a reader has enough.
const BUFFERED: usize = 16 * MEGABYTE;
const SOON: Verdict = Verdict::RetrySoon { after: None };
const TOO_LARGE: What = What::TooLarge(MAX_BODY);

/// How one body is sent.
#[derive(Clone)]
struct Body {
    headers: String,
    bytes: Vec<u8>,
    /// How many times over; `None` for ever.
    times: Option<usize>,
    pause: Duration,
}

impl Body {
    fn new(headers: &str, bytes: &[u8]) -> Self {
        let (headers, bytes) = (headers.to_owned(), bytes.to_vec());
        Self { headers, bytes, times: Some(1), pause: Duration::ZERO }
    }

    fn whole(bytes: &[u8]) -> Self {
        Self::new(&format!("content-length: {}\r\n", bytes.len()), bytes)
    }

    fn packed(bytes: &[u8]) -> Self {
        let body = Self::whole(bytes);
        Self { headers: format!("{}content-encoding: gzip\r\n", body.headers), ..body }
    }

    /// Sends it until it ends or nobody listens any more; says how many bytes went.
    async fn send(&self, stream: &mut TcpStream) -> usize {
        let head = format!(
            "HTTP/1.1 200 OK\r\ncontent-type: application/geo+json\r\nconnection: close\r\n{}\r\n",
            self.headers
        );
        let mut request = [0; 4096];
        let _ = stream.read(&mut request).await.unwrap();
        stream.write_all(head.as_bytes()).await.unwrap();
        let (mut sent, mut times) = (0, 0);
        while self.times.is_none_or(|most| times < most) {
            if stream.write_all(&self.bytes).await.is_err() {
                break;
            }
            sent += self.bytes.len();
            times += 1;
            tokio::time::sleep(self.pause).await;
        }
        sent
    }
}

/// A server of one bad body, then of a sound grid.
async fn serve(bad: Body) -> (String, JoinHandle<usize>) {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let base_url = format!("http://{}", listener.local_addr().unwrap());
    let serving = tokio::spawn(async move {
        let (mut stream, _) = listener.accept().await.unwrap();
        let sent = bad.send(&mut stream).await;
        drop(stream);
        let (mut stream, _) = listener.accept().await.unwrap();
        Body::whole(GRID).send(&mut stream).await;
        sent
    });
    (base_url, serving)
}

async fn ask(nws: &Nws) -> Result<Answer, Fault> {
    nws.pull(&Area::Cell(Cell::new("OAX", 59, 58).unwrap()), &Known::default()).await
}

/// The fault that a body leads to, after which a sound grid is read; and the bytes that were sent.
async fn fault_of(bad: Body, total: Duration) -> (Fault, usize) {
    let _ = rustls::crypto::ring::default_provider().install_default();
    let (base_url, serving) = serve(bad).await;
    let http = reqwest::Client::builder()
        .user_agent("furrowbell/0.1 (desk@example.org)")
        .redirect(redirects())
        .read_timeout(IDLE)
        .build()
        .unwrap();
    let notes = Notes::default();
    let reader = Reader::new(SourceName::Nws, &base_url, http, 1000.0, &Clock::System, &notes);
    let nws = Nws::new(reader.within(total));
    let fault = ask(&nws).await.expect_err("a bad body");
    ask(&nws).await.expect("a sound grid after it");
    assert_eq!(notes.take().len(), 2);
    (fault, serving.await.unwrap())
}

const LONG: Duration = Duration::from_secs(30);

#[tokio::test]
async fn an_empty_a_halved_and_a_falsely_measured_body_are_asked_for_again() {
    let half = &GRID[..GRID.len() / 2];
    for body in [
        Body::whole(b""),
        Body::whole(half),
        Body::new(&format!("content-length: {}\r\n", GRID.len()), half),
        Body::new(&format!("content-length: {}\r\n", half.len()), GRID),
        Body::new("transfer-encoding: chunked\r\n", b"200\r\n{\"type\""),
        Body::new("transfer-encoding: chunked\r\n", b"zzz\r\n{}\r\n"),
    ] {
        let (fault, _) = fault_of(body, LONG).await;
        assert_eq!(fault.verdict, SOON, "{fault}");
    }
}

#[tokio::test]
async fn a_page_that_calls_itself_data_is_unreadable() {
    let (fault, _) = fault_of(Body::whole(b"<!DOCTYPE html><p>Busy"), LONG).await;
    assert!(matches!(fault.what, What::Unreadable(_)), "{fault}");
    assert_eq!(fault.verdict, Verdict::Broken);
}

#[tokio::test]
async fn packing_that_is_broken_or_none_at_all_is_no_whole_answer() {
    let mut turned = PACKED.to_vec();
    let middle = turned.len() / 2;
    turned[middle..middle + 8].fill(0xff);
    for body in [&turned, &PACKED[..middle], GRID] {
        let (fault, _) = fault_of(Body::packed(body), LONG).await;
        assert!(matches!(fault.what, What::NoAnswer(_)), "{fault}");
        assert_eq!(fault.verdict, SOON);
    }
}

/// A byte and then so many repeats of it, packed: Deutsch, P., "DEFLATE Compressed Data Format
/// Specification version 1.3", RFC 1951, 1996, section 3.2.6 (the fixed codes), and "GZIP file
/// format specification version 4.3", RFC 1952. Its checksum is left out: nobody comes so far.
fn bomb(unpacked: usize) -> Vec<u8> {
    const RUN: usize = 258;
    let mut bits = Bits::default();
    bits.put(0b011, 3); // the last block, of fixed codes, lowest bit first
    bits.put(0b0000_1100, 8); // a zero byte, 00110000 written highest bit first
    for _ in 0..unpacked / RUN {
        bits.put(0b1010_0011, 8); // a length of 258, 11000101
        bits.put(0, 5); // one byte back
    }
    let mut packed = vec![0x1f, 0x8b, 8, 0, 0, 0, 0, 0, 0, 255];
    packed.extend(bits.bytes);
    packed
}

#[derive(Default)]
struct Bits {
    bytes: Vec<u8>,
    used: usize,
}

impl Bits {
    fn put(&mut self, bits: u8, count: usize) {
        for bit in (0..count).map(|at| bits >> at & 1) {
            if self.used.is_multiple_of(8) {
                self.bytes.push(0);
            }
            *self.bytes.last_mut().unwrap() |= bit << (self.used % 8);
            self.used += 1;
        }
    }
}

#[tokio::test]
async fn fifty_megabytes_unpacked_from_little_are_given_up_at_the_limit() {
    let packed = bomb(50 * MEGABYTE);
    assert!(packed.len() < MEGABYTE / 2, "{}", packed.len());
    let (fault, _) = fault_of(Body::packed(&packed), LONG).await;
    assert_eq!((fault.what, fault.verdict), (TOO_LARGE, Verdict::Broken));
}

#[tokio::test]
async fn fifty_plain_megabytes_are_not_taken_in() {
    let length = format!("content-length: {}\r\n", 50 * MEGABYTE);
    let body = Body { times: Some(50), ..Body::new(&length, &vec![b' '; MEGABYTE]) };
    let (fault, sent) = fault_of(body, LONG).await;
    assert_eq!((fault.what, fault.verdict), (TOO_LARGE, Verdict::Broken));
    assert!(sent <= MAX_BODY + BUFFERED, "{sent}");
}

#[tokio::test]
async fn chunks_without_end_are_given_up_at_the_limit() {
    let mut chunk = b"100000\r\n".to_vec();
    chunk.extend(vec![b' '; MEGABYTE]);
    chunk.extend(b"\r\n");
    let body = Body { times: None, ..Body::new("transfer-encoding: chunked\r\n", &chunk) };
    let (fault, sent) = fault_of(body, LONG).await;
    assert_eq!((fault.what, fault.verdict), (TOO_LARGE, Verdict::Broken));
    assert!(sent <= MAX_BODY + BUFFERED, "{sent}");
}

/// Never silent for long, and never done: the limit on the whole answer ends it.
#[tokio::test]
async fn a_body_that_drips_is_given_up_when_its_time_is_over() {
    let pause = Duration::from_millis(20);
    let body = Body { times: None, pause, ..Body::new("content-length: 900000\r\n", b" ") };
    let started = Instant::now();
    let (fault, sent) = fault_of(body, Duration::from_millis(400)).await;
    assert!(fault.to_string().contains("timed out"), "{fault}");
    assert_eq!(fault.verdict, SOON);
    assert!(sent >= 2 && started.elapsed() < Duration::from_secs(5), "{:?}", started.elapsed());
}

//! Other people's servers on loopback, started for a story and stopped with it.

use crate::wait_for;
use std::net::TcpListener;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;
use tokio::net::TcpStream;
use tokio::process::{Child, Command};

/// A server may take as long to start on a busy machine.
const START: Duration = Duration::from_mins(1);

/// A running server. Dropping it kills it.
#[derive(Debug)]
pub struct Peer {
    child: Child,
    log: PathBuf,
}

impl Peer {
    /// Starts it; what it prints goes to the end of `log`.
    pub fn start(command: &mut Command, log: &Path) -> Self {
        let open = || std::fs::File::options().create(true).append(true).open(log);
        let (out, err) = (open().expect("a log can be opened"), open().expect("once more"));
        let child = command
            .stdin(Stdio::null())
            .stdout(out)
            .stderr(err)
            .kill_on_drop(true)
            .spawn()
            .expect("the peer starts");
        Self { child, log: log.to_owned() }
    }

    /// Waits until somebody answers on the port; shows the log when nobody does.
    pub async fn listens(&mut self, port: u16) {
        wait_for("a peer that listens", START, async || {
            if let Some(status) = self.child.try_wait().expect("a child can be asked") {
                panic!("the peer ended with {status}:\n{}", self.log());
            }
            TcpStream::connect(("127.0.0.1", port)).await.ok()
        })
        .await;
    }

    /// kill -9.
    pub async fn kill(mut self) {
        self.child.kill().await.expect("the peer can be killed");
    }

    /// Everything it has printed.
    pub fn log(&self) -> String {
        std::fs::read_to_string(&self.log).expect("the log can be read")
    }
}

/// A loopback port that is free now.
pub fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a loopback port is free");
    listener.local_addr().expect("a bound port").port()
}

/// Where `./tests/run` has put a peer, by the environment variable that says so. Says that the
/// story is skipped when it has not.
pub fn installed(variable: &str) -> Option<PathBuf> {
    let found = std::env::var_os(variable).map(PathBuf::from);
    if found.is_none() {
        println!("SKIP {variable} is not set; ./tests/run installs that peer and sets it");
    }
    found
}

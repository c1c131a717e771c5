//! The built binary, started and stopped like the real thing.

use std::path::{Path, PathBuf};
use std::process::{Output, Stdio};
use std::time::Duration;
use tokio::process::{Child, Command};

/// Path of the built binary.
///
/// # Panics
///
/// When it has not been built: run `cargo build` first, as `./tests/run` does.
pub fn path() -> PathBuf {
    let mut folder = std::env::current_exe().expect("a test has a path");
    while folder.pop() {
        let candidate = folder.join("furrowbell");
        if candidate.is_file() {
            return candidate;
        }
    }
    panic!("the furrowbell binary is not built; run `cargo build --workspace` first");
}

fn command(args: &[&str]) -> Command {
    let mut command = Command::new(path());
    command.args(args).env_remove("RUST_BACKTRACE").env("NO_COLOR", "1").kill_on_drop(true);
    command
}

/// Runs one command to its end.
pub async fn run(args: &[&str]) -> Output {
    command(args).stdin(Stdio::null()).output().await.expect("the binary starts")
}

/// Runs one command, demands success, gives its standard output.
pub async fn succeed(args: &[&str]) -> String {
    let output = run(args).await;
    assert!(
        output.status.success(),
        "{args:?} ended with {}\n{}\n{}",
        output.status,
        String::from_utf8_lossy(&output.stdout),
        String::from_utf8_lossy(&output.stderr)
    );
    String::from_utf8(output.stdout).expect("output is UTF-8")
}

/// A running service. Dropping it kills it.
#[derive(Debug)]
pub struct Service {
    child: Child,
    log: PathBuf,
}

impl Service {
    /// Starts `run BOOK` under a clock that shows `start` and runs `speed` times as fast; the log
    /// goes to a file in the book's folder.
    pub fn start(book: &Path, start: &str, speed: u32) -> Self {
        let log = book.join("service.log");
        let file = std::fs::File::options()
            .create(true)
            .append(true)
            .open(&log)
            .expect("the log can be opened");
        let book = book.to_str().expect("paths of tests are UTF-8");
        let clock = format!("{start}x{speed}");
        let child = command(&["run", book, "--test-clock", &clock])
            .env("FURROWBELL_LOG", "furrowbell=debug,info")
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(file)
            .spawn()
            .expect("the binary starts");
        Self { child, log }
    }

    /// kill -9.
    pub async fn kill(mut self) {
        self.child.kill().await.expect("the service can be killed");
    }

    /// Sends a signal by name, for example `TERM`.
    pub async fn signal(&self, name: &str) {
        let pid = self.child.id().expect("the service still runs").to_string();
        let status = Command::new("kill").args([&format!("-{name}"), &pid]).status().await;
        assert!(status.expect("kill starts").success(), "signal {name} was refused");
    }

    /// Asks it to stop and waits; gives the exit code.
    pub async fn stop(mut self) -> Option<i32> {
        self.signal("TERM").await;
        let status = tokio::time::timeout(Duration::from_secs(10), self.child.wait()).await;
        status.expect("the service stops within ten seconds").expect("it can be awaited").code()
    }

    /// Everything it has logged.
    pub fn log(&self) -> String {
        std::fs::read_to_string(&self.log).expect("the log can be read")
    }
}

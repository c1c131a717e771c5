//! Prints texts, for trying things out.

use super::{Outcome, Outgoing};
use std::io::Write;
use std::sync::{Mutex, PoisonError};

/// Prints each text to one writer, whole.
pub struct Console {
    out: Mutex<Box<dyn Write + Send>>,
}

impl Console {
    /// Prints to `out`.
    pub fn new(out: impl Write + Send + 'static) -> Self {
        Self { out: Mutex::new(Box::new(out)) }
    }

    pub(super) fn send(&self, text: &Outgoing) -> Outcome {
        let mut out = self.out.lock().unwrap_or_else(PoisonError::into_inner);
        let subject = text.subject.as_ref().map(|subject| format!(" | {subject}"));
        let page = format!("to {}{}\n{}\n\n", text.to, subject.unwrap_or_default(), text.body);
        match out.write_all(page.as_bytes()).and_then(|()| out.flush()) {
            Ok(()) => Outcome::Accepted { provider_ids: Vec::new() },
            Err(error) => Outcome::Retry {
                why: format!("could not print the text: {}", error.kind()),
                after: None,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::routes::samples;
    use std::io;
    use std::sync::Arc;

    #[derive(Clone, Default)]
    struct Page(Arc<Mutex<Vec<u8>>>);

    impl Write for Page {
        fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
            self.0.lock().unwrap().write(bytes)
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    struct Broken;

    impl Write for Broken {
        fn write(&mut self, _: &[u8]) -> io::Result<usize> {
            Err(io::ErrorKind::BrokenPipe.into())
        }
        fn flush(&mut self) -> io::Result<()> {
            Ok(())
        }
    }

    #[test]
    fn prints_receiver_and_text() {
        let page = Page::default();
        let outcome = Console::new(page.clone()).send(&samples::text());
        assert_eq!(outcome, Outcome::Accepted { provider_ids: Vec::new() });
        let printed = String::from_utf8(page.0.lock().unwrap().clone()).unwrap();
        assert_eq!(printed, "to +15155550123\nNorth 80: plan the post pass & go.\n\n");
    }

    #[test]
    fn a_closed_pipe_is_tried_again() {
        let outcome = Console::new(Broken).send(&samples::text());
        assert!(matches!(outcome, Outcome::Retry { after: None, .. }), "{outcome:?}");
    }
}

//! What to take for a day nobody knows: the mean of the last days that are known.

/// Days that the mean spans.
const SPAN: usize = 7;

/// The last known values of something, at most a week of them.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Recent {
    values: [f64; SPAN],
    seen: usize,
}

impl Recent {
    /// Takes a known value.
    pub(super) fn push(&mut self, value: f64) {
        self.values[self.seen % SPAN] = value;
        self.seen += 1;
    }

    /// Mean of the values held; `None` before the first.
    pub(super) fn mean(&self) -> Option<f64> {
        let held = &self.values[..self.seen.min(SPAN)];
        // At most seven values: exact.
        #[expect(clippy::cast_precision_loss, reason = "a count of at most seven is exact")]
        let count = held.len() as f64;
        (!held.is_empty()).then(|| held.iter().sum::<f64>() / count)
    }
}

//! What the digest's two layouts are given, and how its plain part is broken into lines.

use serde::Serialize;

/// The layouts by name. The ending decides whether what goes in is escaped.
pub(super) const LAYOUTS: [(&str, &str); 2] = [
    ("digest.txt", include_str!("../../../config/wording/digest.txt")),
    ("digest.html", include_str!("../../../config/wording/digest.html")),
];

/// Columns of the plain part.
pub(super) const COLUMNS: usize = 72;

#[derive(Debug, Default, Serialize)]
pub(super) struct View {
    pub language: &'static str,
    pub title: String,
    pub lead: String,
    pub notes: Vec<String>,
    pub sections: Vec<Section>,
}

#[derive(Debug, Serialize)]
pub(super) struct Section {
    pub heading: String,
    /// What to say when there is no entry.
    pub empty: String,
    pub entries: Vec<Entry>,
}

/// A person, a day or a farm, with what is said of it.
#[derive(Debug, Serialize)]
pub(super) struct Entry {
    pub head: String,
    pub phone: Option<String>,
    pub lines: Vec<Line>,
}

#[derive(Debug, Serialize)]
pub(super) struct Line {
    pub what: String,
    pub more: String,
}

/// Breaks a text at spaces to fit the columns; the first line begins with `first`, the others with
/// `rest`. A longer word stands on a line of its own.
pub(super) fn wrap(text: &str, first: &str, rest: &str) -> String {
    let mut out = first.to_owned();
    let mut column = first.chars().count();
    let mut at_start = true;
    for word in text.split_whitespace() {
        let width = word.chars().count();
        if !at_start && column + 1 + width > COLUMNS {
            out.push('\n');
            out.push_str(rest);
            column = rest.chars().count();
            at_start = true;
        }
        if !at_start {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += width;
        at_start = false;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn wraps_with_a_hanging_indent() {
        let text =
            "North 80: post closing, by Thu May 21. Weeds pass 4 in about Fri May 22, likely.";
        assert_eq!(
            wrap(text, "  - ", "    "),
            "  - North 80: post closing, by Thu May 21. Weeds pass 4 in about Fri May\n    22, likely."
        );
    }

    proptest! {
        #[test]
        fn wrapping_loses_no_word_and_keeps_the_columns(
            words in proptest::collection::vec("[a-zá-ú0-9.,]{1,20}", 0..60)
        ) {
            let text = words.join(" ");
            let wrapped = wrap(&text, "  - ", "    ");
            prop_assert!(wrapped.lines().all(|line| line.chars().count() <= COLUMNS));
            let kept: Vec<&str> = wrapped["  - ".len()..].split_whitespace().collect();
            prop_assert_eq!(kept, words);
        }
    }
}

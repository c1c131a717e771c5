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
    /// The week at a glance; the plain part tells it in words.
    pub strip: Option<Strip>,
}

/// A picture of what is due on which day.
#[derive(Debug, Serialize)]
pub(super) struct Strip {
    /// The picture as PNG in base64.
    pub png: String,
    pub alt: String,
    pub legend: String,
    pub columns: Vec<Column>,
}

/// A column of the picture, as it is named under it.
#[derive(Debug, Serialize)]
pub(super) struct Column {
    pub label: String,
    pub count: Option<String>,
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
/// `rest`. A word longer than a line is broken.
pub(super) fn wrap(text: &str, first: &str, rest: &str) -> String {
    let mut out = first.to_owned();
    let mut column = first.chars().count();
    let mut at_start = true;
    for word in text.split_whitespace().flat_map(|word| pieces(word, COLUMNS - rest.len())) {
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

/// A word in pieces of at most `most` characters.
fn pieces(word: &str, most: usize) -> impl Iterator<Item = &str> {
    let mut rest = word;
    std::iter::from_fn(move || {
        let end = rest.char_indices().nth(most).map_or(rest.len(), |(end, _)| end);
        let (piece, after) = rest.split_at(end);
        rest = after;
        (!piece.is_empty()).then_some(piece)
    })
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

    #[test]
    fn breaks_what_is_longer_than_a_line() {
        let wrapped = wrap(&format!("see {}", "w".repeat(100)), "  - ", "    ");
        let lengths: Vec<usize> = wrapped.lines().map(str::len).collect();
        assert_eq!(lengths, [7, COLUMNS, 4 + 100 - (COLUMNS - 4)]);
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

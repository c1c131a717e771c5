//! Which field a grower means.

use super::words::{is_noise, plain_words};

/// What a name fits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Match<'a> {
    /// One field.
    One(&'a str),
    /// More than one; never chosen between.
    Several(Vec<&'a str>),
    /// None.
    None,
}

const CROPS: [&str; 7] = ["bean", "beans", "corn", "maiz", "soy", "soybean", "soybeans"];

const DIRECTIONS: [(&str, &str); 8] = [
    ("n", "north"),
    ("s", "south"),
    ("e", "east"),
    ("w", "west"),
    ("ne", "northeast"),
    ("nw", "northwest"),
    ("se", "southeast"),
    ("sw", "southwest"),
];

/// Finds the field among (id, name) that `query` names.
///
/// The whole name beats a part of one ("80" for "North 80"), a part beats a misspelling; case,
/// accents, punctuation and short directions ("N80") do not matter. Every word asked for must
/// fit, so that a second field or a condition in the same text is never passed over.
pub fn match_name<'a>(query: &str, fields: &[(&'a str, &'a str)]) -> Match<'a> {
    let asked = name_words(query);
    if asked.is_empty() {
        return Match::None;
    }
    let without_crop: Vec<String> =
        asked.iter().filter(|word| !CROPS.contains(&word.as_str())).cloned().collect();
    let tries = [&asked, &without_crop];
    let tries = if without_crop.is_empty() { &tries[..1] } else { &tries };
    tries.iter().map(|asked| fitting(asked, fields)).find(|ids| !ids.is_empty()).map_or(
        Match::None,
        |ids| match ids.as_slice() {
            [one] => Match::One(one),
            _ => Match::Several(ids),
        },
    )
}

/// Finds every field that `query` names, " & " standing between two names.
///
/// One name that fits no field or several spoils the whole: the error holds the fields it might
/// have meant, if any.
pub fn match_names<'a>(
    query: &str,
    fields: &[(&'a str, &'a str)],
) -> Result<Vec<&'a str>, Vec<&'a str>> {
    let asked = name_words(query);
    let is_one_name = fields.iter().any(|(_, name)| name_words(name) == asked);
    let parts: Vec<&str> = if is_one_name { vec![query] } else { query.split(" & ").collect() };
    let mut found = Vec::new();
    for part in parts {
        match match_name(part, fields) {
            Match::One(id) if found.contains(&id) => {}
            Match::One(id) => found.push(id),
            Match::Several(ids) => return Err(ids),
            Match::None => return Err(Vec::new()),
        }
    }
    Ok(found)
}

/// Whether a word says only which crop.
pub(super) fn is_crop(word: &str) -> bool {
    CROPS.contains(&word)
}

type Fits = fn(asked: &[String], name: &[String]) -> bool;

fn fitting<'a>(asked: &[String], fields: &[(&'a str, &'a str)]) -> Vec<&'a str> {
    let rules: [Fits; 3] = [
        |asked, name| asked == name,
        |asked, name| asked.iter().all(|word| name.contains(word)),
        |asked, name| asked.iter().all(|word| name.iter().any(|other| alike(word, other))),
    ];
    let names: Vec<_> = fields.iter().map(|(id, name)| (*id, name_words(name))).collect();
    rules
        .iter()
        .map(|fits| names.iter().filter(|(_, name)| fits(asked, name)).map(|(id, _)| *id).collect())
        .find(|ids: &Vec<_>| !ids.is_empty())
        .unwrap_or_default()
}

/// The words of a name: letters and digits parted, directions written out, noise dropped unless
/// the name is nothing else.
fn name_words(text: &str) -> Vec<String> {
    let words = plain_words(text);
    let telling: Vec<&String> = words.iter().filter(|word| !is_noise(word)).collect();
    let kept = if telling.is_empty() { words.iter().collect() } else { telling };
    kept.into_iter()
        .flat_map(|word| letters_and_digits(word))
        .map(|word| {
            let long = DIRECTIONS.iter().find(|(short, _)| *short == word);
            long.map_or(word, |(_, long)| *long).to_owned()
        })
        .collect()
}

fn letters_and_digits(word: &str) -> Vec<&str> {
    let mut parts = Vec::new();
    let mut rest = word;
    while let Some(first) = rest.chars().next() {
        let digit = first.is_numeric();
        let end = rest.find(|letter: char| letter.is_numeric() != digit).unwrap_or(rest.len());
        let (part, after) = rest.split_at(end);
        parts.push(part);
        rest = after;
    }
    parts
}

/// Whether one word is a misspelling of the other. Numbers and directions are never taken for
/// one another: "east" is one letter from "west".
fn alike(asked: &str, name: &str) -> bool {
    let exact_only = |word: &str| {
        word.chars().any(char::is_numeric) || DIRECTIONS.iter().any(|(_, long)| *long == word)
    };
    if asked == name {
        return true;
    }
    if exact_only(asked) || exact_only(name) {
        return false;
    }
    let allowed = match asked.chars().count().min(name.chars().count()) {
        0..=3 => 0,
        4..=7 => 1,
        _ => 2,
    };
    asked.len().abs_diff(name.len()) <= 4 * allowed && distance(asked, name) <= allowed
}

/// Edits between two words: one inserted, dropped or changed letter, or two neighbours swapped
/// (optimal string alignment; Damerau, "A technique for computer detection and correction of
/// spelling errors", 1964).
pub(super) fn distance(left: &str, right: &str) -> usize {
    let (left, right): (Vec<char>, Vec<char>) = (left.chars().collect(), right.chars().collect());
    let mut rows = vec![vec![0; right.len() + 1]; left.len() + 1];
    for (i, row) in rows.iter_mut().enumerate() {
        row[0] = i;
    }
    rows[0] = (0..=right.len()).collect();
    for i in 1..=left.len() {
        for j in 1..=right.len() {
            let changed = usize::from(left[i - 1] != right[j - 1]);
            let mut least =
                (rows[i - 1][j] + 1).min(rows[i][j - 1] + 1).min(rows[i - 1][j - 1] + changed);
            if i > 1 && j > 1 && left[i - 1] == right[j - 2] && left[i - 2] == right[j - 1] {
                least = least.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = least;
        }
    }
    rows[left.len()][right.len()]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const FIELDS: [(&str, &str); 8] = [
        ("f/n80", "North 80"),
        ("f/s80", "South 80"),
        ("f/home", "Home"),
        ("f/hill", "Home Hill"),
        ("f/12a", "12A"),
        ("f/west", "West Forty"),
        ("f/schoolhouse", "Schoolhouse Creek"),
        ("f/nw", "NW 1/4 of 17"),
    ];

    #[test]
    fn names_are_found_as_people_write_them() {
        for (query, id) in [
            ("north 80", "f/n80"),
            ("NORTH-80", "f/n80"),
            ("n80", "f/n80"),
            ("n. 80", "f/n80"),
            ("north80 beans", "f/n80"),
            ("the north 80 field", "f/n80"),
            ("north", "f/n80"),
            ("home", "f/home"),
            ("hill", "f/hill"),
            ("12 a", "f/12a"),
            ("forty", "f/west"),
            ("fourty", "f/west"),
            ("shcoolhouse", "f/schoolhouse"),
            ("nw 1/4", "f/nw"),
        ] {
            assert_eq!(match_name(query, &FIELDS), Match::One(id), "{query}");
        }
    }

    #[test]
    fn two_fields_are_never_chosen_between() {
        assert_eq!(match_name("80", &FIELDS), Match::Several(vec!["f/n80", "f/s80"]));
        let lettered = [("f/a", "12A"), ("f/b", "12B")];
        assert_eq!(match_name("12b", &lettered), Match::One("f/b"));
        assert_eq!(match_name("12", &lettered), Match::Several(vec!["f/a", "f/b"]));
        let twins = [("a/1", "Home"), ("b/1", "Home")];
        assert_eq!(match_name("home", &twins), Match::Several(vec!["a/1", "b/1"]));
    }

    #[test]
    fn what_is_not_a_name_fits_nothing() {
        for query in [
            "",
            "the",
            "east 80",
            "north 81",
            "south forty",
            "north 80 but wet",
            "corn",
            "81",
            "eest",
        ] {
            assert_eq!(match_name(query, &FIELDS), Match::None, "{query}");
        }
    }

    #[test]
    fn several_names_in_one_text_are_all_found() {
        assert_eq!(match_names("north 80 & home", &FIELDS), Ok(vec!["f/n80", "f/home"]));
        assert_eq!(match_names("north 80 & n80", &FIELDS), Ok(vec!["f/n80"]));
        assert_eq!(match_names("north 80 & 80", &FIELDS), Err(vec!["f/n80", "f/s80"]));
        assert_eq!(match_names("north 80 & still wet", &FIELDS), Err(vec![]));
        let joined = [("f/both", "Home & Hill"), ("f/home", "Home")];
        assert_eq!(match_names("home & hill", &joined), Ok(vec!["f/both"]));
    }

    #[test]
    fn edits_are_counted() {
        // The first pair is the usual textbook example (3 edits).
        for (left, right, edits) in
            [("kitten", "sitting", 3), ("", "abc", 3), ("stpo", "stop", 1), ("same", "same", 0)]
        {
            assert_eq!(distance(left, right), edits, "{left} {right}");
        }
    }

    proptest! {
        #[test]
        fn a_name_alone_finds_its_field(position in 0..FIELDS.len()) {
            let (id, name) = FIELDS[position];
            prop_assert_eq!(match_name(name, &FIELDS), Match::One(id));
            prop_assert_eq!(match_name(&name.to_uppercase(), &FIELDS), Match::One(id));
        }

        #[test]
        fn edits_are_symmetric_and_bounded(left in "[a-d]{0,6}", right in "[a-d]{0,6}") {
            let edits = distance(&left, &right);
            prop_assert_eq!(edits, distance(&right, &left));
            prop_assert!(edits <= left.len().max(right.len()));
            prop_assert_eq!(edits == 0, left == right);
        }
    }
}

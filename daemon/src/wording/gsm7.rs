//! What a text costs on the air: the GSM 7-bit default alphabet with its extension table
//! (3GPP TS 23.038, clauses 6.2.1 and 6.2.1.1) and how long texts are cut into segments
//! (3GPP TS 23.040, clause 9.2.3.24.1, 8-bit reference).

use super::fold::{composed, is_mark, plain_spelling};

/// Septets in a text of one segment.
pub const ONE_SEGMENT: usize = 160;
/// Septets in two segments, each with its header.
pub const TWO_SEGMENTS: usize = 2 * SEPTETS_OF_MANY;

const SEPTETS_OF_MANY: usize = 153;
const UNITS_OF_ONE: usize = 70;
const UNITS_OF_MANY: usize = 67;

/// Septets of one character: 1, 2 when it needs the escape, `None` outside the alphabet.
const fn cost(character: char) -> Option<usize> {
    match character {
        '@'
        | '£'
        | '$'
        | '¥'
        | 'è'
        | 'é'
        | 'ù'
        | 'ì'
        | 'ò'
        | 'Ç'
        | '\n'
        | 'Ø'
        | 'ø'
        | '\r'
        | 'Å'
        | 'å'
        | 'Δ'
        | '_'
        | 'Φ'
        | 'Γ'
        | 'Λ'
        | 'Ω'
        | 'Π'
        | 'Ψ'
        | 'Σ'
        | 'Θ'
        | 'Ξ'
        | 'Æ'
        | 'æ'
        | 'ß'
        | 'É'
        | ' '..='#'
        | '¤'
        | '%'..='?'
        | '¡'
        | 'A'..='Z'
        | 'Ä'
        | 'Ö'
        | 'Ñ'
        | 'Ü'
        | '§'
        | '¿'
        | 'a'..='z'
        | 'ä'
        | 'ö'
        | 'ñ'
        | 'ü'
        | 'à' => Some(1),
        '\u{c}' | '^' | '{' | '}' | '\\' | '[' | '~' | ']' | '|' | '€' => Some(2),
        _ => None,
    }
}

/// Septets of a text; `None` when a character lies outside the alphabet.
pub fn septets(text: &str) -> Option<usize> {
    text.chars().map(cost).sum()
}

/// Segments a text is sent in. A text outside the alphabet is counted in UCS-2.
pub fn segments(text: &str) -> usize {
    match text.chars().map(cost).collect::<Option<Vec<_>>>() {
        Some(costs) => cut(costs.into_iter(), ONE_SEGMENT, SEPTETS_OF_MANY),
        None => cut(text.chars().map(char::len_utf16), UNITS_OF_ONE, UNITS_OF_MANY),
    }
}

/// Fills segments in order; what one character costs is never cut in two.
fn cut(costs: impl Iterator<Item = usize> + Clone, alone: usize, of_many: usize) -> usize {
    if costs.clone().sum::<usize>() <= alone {
        return 1;
    }
    let (segments, _) = costs.fold((1, 0), |(segments, used), cost| {
        if used + cost > of_many { (segments + 1, cost) } else { (segments, used + cost) }
    });
    segments
}

/// The text in the GSM alphabet: typographic signs in their typewriter form, letters without
/// accents that the alphabet lacks, `?` for what has no plain spelling.
pub fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text.chars().peekable();
    while let Some(character) = rest.next() {
        if is_mark(character) {
            if let Some(letter) = out.chars().next_back().and_then(|base| composed(base, character))
            {
                out.pop();
                out.push(letter);
            }
        } else if cost(character).is_some() {
            out.push(character);
        } else {
            let split_unit = character == '°'
                && out.ends_with(|before: char| before.is_ascii_digit())
                && rest.peek().is_some_and(char::is_ascii_alphabetic);
            out.push_str(if split_unit { " " } else { plain_spelling(character).unwrap_or("?") });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The table of TS 23.038 clause 6.2.1, in its order, without the escape at 0x1B.
    const DEFAULT_ALPHABET: &str = "@£$¥èéùìòÇ\nØø\rÅåΔ_ΦΓΛΩΠΨΣΘΞÆæßÉ !\"#¤%&'()*+,-./0123456789:;<=>?\
         ¡ABCDEFGHIJKLMNOPQRSTUVWXYZÄÖÑÜ§¿abcdefghijklmnopqrstuvwxyzäöñüà";
    /// Clause 6.2.1.1.
    const EXTENSION: &str = "\u{c}^{}\\[~]|€";

    #[test]
    fn the_alphabet_is_the_standard_one_and_nothing_more() {
        assert_eq!(DEFAULT_ALPHABET.chars().count(), 127);
        let counted =
            |cost_wanted| (char::MIN..=char::MAX).filter(|c| cost(*c) == Some(cost_wanted)).count();
        assert!(DEFAULT_ALPHABET.chars().all(|c| cost(c) == Some(1)));
        assert!(EXTENSION.chars().all(|c| cost(c) == Some(2)));
        assert_eq!((counted(1), counted(2)), (127, 10));
    }

    /// Counts from the packing arithmetic of TS 23.038/23.040, checked against two independent
    /// encoders (smpplib 2.2.4, npm smpp 0.5.1), except the escape at a segment border, where the
    /// first of them cuts the pair against TS 23.040.
    #[test]
    fn counts_septets_and_segments_as_the_standard_does() {
        let a = |n| "a".repeat(n);
        let euro = |n| "€".repeat(n);
        for (text, units, parts) in [
            ("hellohello".to_owned(), 10, 1),
            ("A".to_owned(), 1, 1),
            ("1234567".to_owned(), 7, 1),
            ("12345678".to_owned(), 8, 1),
            ("Frost likely".to_owned(), 12, 1),
            (euro(1), 2, 1),
            ("€5".to_owned(), 3, 1),
            ("{1}".to_owned(), 5, 1),
            ("[a]{b}".to_owned(), 10, 1),
            ("Mañana".to_owned(), 6, 1),
            ("Él".to_owned(), 2, 1),
            (a(160), 160, 1),
            (a(161), 161, 2),
            (a(306), 306, 2),
            (a(307), 307, 3),
            (euro(80), 160, 1),
            (euro(81), 162, 2),
            (a(152) + "€" + &a(20), 174, 2),
            (a(152) + "€" + &a(152), 306, 3),
        ] {
            assert_eq!((septets(&text), segments(&text)), (Some(units), parts), "{text}");
        }
    }

    #[test]
    fn counts_what_is_outside_the_alphabet_in_ucs2() {
        let l = |n| "ł".repeat(n);
        let seedling = |n| "🌱".repeat(n);
        for (text, units, parts) in [
            (l(70), 70, 1),
            (l(71), 71, 2),
            (l(134), 134, 2),
            (l(135), 135, 3),
            (l(66) + "🌱" + &l(67), 135, 3),
            (seedling(35), 70, 1),
            (seedling(36), 72, 2),
            ("a".repeat(159) + "\u{2019}", 160, 3),
        ] {
            assert_eq!(septets(&text), None);
            assert_eq!((text.encode_utf16().count(), segments(&text)), (units, parts), "{text}");
        }
        assert_eq!(segments(&("a".repeat(159) + "'")), 1);
    }

    #[test]
    fn spells_plainly() {
        for (text, wanted) in [
            ("28°F", "28 F"),
            ("28 °F", "28 F"),
            ("2\u{a0}AM – 6\u{a0}AM", "2 AM - 6 AM"),
            ("Ray’s “North” field…", "Ray's \"North\" field..."),
            ("así está más aquí: señal, café, à la", "asi esta mas aqui: señal, café, à la"),
            ("n\u{303}u e\u{301} a\u{301}", "ñu é a"),
            ("Łódź 🌱\t`x`", "Lodz ? 'x'"),
        ] {
            assert_eq!(plain(text), wanted);
        }
    }

    proptest! {
        #[test]
        fn plain_text_is_always_in_the_alphabet_and_stays(text in "\\PC*") {
            let once = plain(&text);
            prop_assert!(septets(&once).is_some());
            prop_assert_eq!(plain(&once), once);
        }

        #[test]
        fn text_in_the_alphabet_is_left_alone(
            text in proptest::collection::vec(
                proptest::sample::select((DEFAULT_ALPHABET.to_owned() + EXTENSION).chars().collect::<Vec<_>>()),
                0..400,
            ).prop_map(String::from_iter)
        ) {
            prop_assert_eq!(plain(&text), text);
        }

        #[test]
        fn segments_hold_the_whole_and_never_fewer_than_fit(text in "[a-z€^]{0,700}") {
            let units = septets(&text).unwrap();
            let parts = segments(&text);
            if units <= ONE_SEGMENT {
                prop_assert_eq!(parts, 1);
            } else {
                prop_assert!(parts >= units.div_ceil(SEPTETS_OF_MANY));
                prop_assert!(parts <= units.div_ceil(SEPTETS_OF_MANY - 1));
            }
        }
    }
}

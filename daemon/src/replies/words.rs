//! Folding of what people type: case, accents, typographic quotes, noise words.

/// Longer texts are no replies; what follows is not read.
const READ_CHARS: usize = 640;

/// Words that carry no meaning of their own in a reply or a field name.
const NOISE: [&str; 59] = [
    "a", "about", "am", "an", "and", "are", "at", "been", "el", "en", "field", "fields", "for",
    "gauge", "got", "had", "has", "have", "here", "hi", "hey", "i", "im", "in", "is", "it", "its",
    "ive", "just", "la", "los", "my", "now", "of", "off", "ok", "okay", "on", "our", "out", "pls",
    "please", "que", "si", "tall", "thank", "thanks", "the", "thx", "to", "u", "was", "we", "weve",
    "were", "with", "y", "yep", "you",
];

/// Lower case, no accents, plain quotes.
pub(super) fn fold(text: &str) -> String {
    text.chars().take(READ_CHARS).flat_map(char::to_lowercase).map(plain).collect()
}

const fn plain(letter: char) -> char {
    match letter {
        'á' | 'à' | 'â' | 'ä' => 'a',
        'é' | 'è' | 'ê' | 'ë' => 'e',
        'í' | 'ì' | 'î' | 'ï' => 'i',
        'ó' | 'ò' | 'ô' | 'ö' => 'o',
        'ú' | 'ù' | 'û' | 'ü' => 'u',
        'ñ' => 'n',
        '\u{2018}' | '\u{2019}' | '`' | '´' => '\'',
        '\u{201c}' | '\u{201d}' | '\u{2033}' => '"',
        '\u{2013}' | '\u{2014}' => '-',
        other => other,
    }
}

/// The letters and digits of a text as folded words; an apostrophe joins ("don't" is "dont").
pub(super) fn plain_words(text: &str) -> Vec<String> {
    fold(text)
        .replace('\'', "")
        .split(|letter: char| !letter.is_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_owned)
        .collect()
}

pub(super) fn is_noise(word: &str) -> bool {
    NOISE.contains(&word)
}

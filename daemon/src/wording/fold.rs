//! Plain spellings of characters that the SMS alphabet or a mail subject lacks.

/// The plain spelling of a character outside ASCII; `None` when there is none.
pub(super) const fn plain_spelling(character: char) -> Option<&'static str> {
    Some(match character {
        'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' | 'ā' | 'ă' | 'ą' | 'ª' => "a",
        'À' | 'Á' | 'Â' | 'Ã' | 'Ä' | 'Å' | 'Ā' | 'Ă' | 'Ą' => "A",
        'ç' | 'ć' | 'ĉ' | 'ċ' | 'č' => "c",
        'Ç' | 'Ć' | 'Ĉ' | 'Ċ' | 'Č' => "C",
        'ď' | 'đ' | 'ð' => "d",
        'Ď' | 'Đ' | 'Ð' => "D",
        'è' | 'é' | 'ê' | 'ë' | 'ē' | 'ĕ' | 'ė' | 'ę' | 'ě' => "e",
        'È' | 'É' | 'Ê' | 'Ë' | 'Ē' | 'Ĕ' | 'Ė' | 'Ę' | 'Ě' => "E",
        'ĝ' | 'ğ' | 'ġ' | 'ģ' => "g",
        'Ĝ' | 'Ğ' | 'Ġ' | 'Ģ' => "G",
        'ì' | 'í' | 'î' | 'ï' | 'ĩ' | 'ī' | 'ĭ' | 'į' | 'ı' => "i",
        'Ì' | 'Í' | 'Î' | 'Ï' | 'Ĩ' | 'Ī' | 'Ĭ' | 'Į' | 'İ' => "I",
        'ĺ' | 'ļ' | 'ľ' | 'ł' => "l",
        'Ĺ' | 'Ļ' | 'Ľ' | 'Ł' => "L",
        'ñ' | 'ń' | 'ņ' | 'ň' => "n",
        'Ñ' | 'Ń' | 'Ņ' | 'Ň' => "N",
        'ò' | 'ó' | 'ô' | 'õ' | 'ö' | 'ø' | 'ō' | 'ŏ' | 'ő' | 'º' => "o",
        'Ò' | 'Ó' | 'Ô' | 'Õ' | 'Ö' | 'Ø' | 'Ō' | 'Ŏ' | 'Ő' => "O",
        'ŕ' | 'ř' => "r",
        'Ŕ' | 'Ř' => "R",
        'ś' | 'ŝ' | 'ş' | 'š' | 'ș' => "s",
        'Ś' | 'Ŝ' | 'Ş' | 'Š' | 'Ș' => "S",
        'ţ' | 'ť' | 'ț' => "t",
        'Ţ' | 'Ť' | 'Ț' => "T",
        'ù' | 'ú' | 'û' | 'ü' | 'ũ' | 'ū' | 'ŭ' | 'ů' | 'ű' => "u",
        'Ù' | 'Ú' | 'Û' | 'Ü' | 'Ũ' | 'Ū' | 'Ŭ' | 'Ů' | 'Ű' => "U",
        'ý' | 'ÿ' => "y",
        'Ý' | 'Ÿ' => "Y",
        'ź' | 'ż' | 'ž' => "z",
        'Ź' | 'Ż' | 'Ž' => "Z",
        'æ' => "ae",
        'Æ' => "AE",
        'œ' => "oe",
        'Œ' => "OE",
        'ß' => "ss",
        '¡' => "!",
        '¿' => "?",
        '½' => "1/2",
        '¼' => "1/4",
        '¾' => "3/4",
        '×' => "x",
        '–' | '—' | '−' | '‐' | '‑' | '‒' | '―' | '·' | '•' => "-",
        '‘' | '’' | '‚' | '‛' | '′' | '´' | '`' => "'",
        '“' | '”' | '„' | '«' | '»' | '″' => "\"",
        '…' => "...",
        '\t' | '\u{a0}' | '\u{2000}'..='\u{200a}' | '\u{202f}' | '\u{3000}' => " ",
        '\u{200b}'..='\u{200f}' | '\u{ad}' | '\u{feff}' | '\u{fe0f}' | '°' => "",
        _ => return None,
    })
}

/// The letter of the SMS alphabet that a base letter and a combining mark make together.
pub(super) const fn composed(base: char, mark: char) -> Option<char> {
    Some(match (base, mark) {
        ('n', '\u{303}') => 'ñ',
        ('N', '\u{303}') => 'Ñ',
        ('e', '\u{301}') => 'é',
        ('E', '\u{301}') => 'É',
        ('a', '\u{300}') => 'à',
        ('e', '\u{300}') => 'è',
        ('i', '\u{300}') => 'ì',
        ('o', '\u{300}') => 'ò',
        ('u', '\u{300}') => 'ù',
        ('a', '\u{308}') => 'ä',
        ('o', '\u{308}') => 'ö',
        ('u', '\u{308}') => 'ü',
        ('A', '\u{308}') => 'Ä',
        ('O', '\u{308}') => 'Ö',
        ('U', '\u{308}') => 'Ü',
        ('a', '\u{30a}') => 'å',
        ('A', '\u{30a}') => 'Å',
        ('C', '\u{327}') => 'Ç',
        _ => return None,
    })
}

/// Whether a character only marks the letter before it.
pub(super) const fn is_mark(character: char) -> bool {
    matches!(character, '\u{300}'..='\u{36f}')
}

/// The text in printable ASCII, one line; what has no plain spelling becomes `?`.
pub(super) fn ascii(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for character in text.chars().filter(|character| !is_mark(*character)) {
        match character {
            ' '..='~' => out.push(character),
            '\n' | '\r' => out.push(' '),
            other => out.push_str(plain_spelling(other).unwrap_or("?")),
        }
    }
    out
}

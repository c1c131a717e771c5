//! Reads the answer to a question about the record of a pass. Strict: what does not have the form
//! that was asked for is no answer, so nothing is made up from it.

use super::words::{fold, is_noise, plain_words};
use crate::records::Item;
use chrono::NaiveTime;
use furrowbell_config::products::{Amount, EpaNumber, Unit};
use std::ops::RangeInclusive;

/// Longest product name and longest number of a certification that the book allows too.
const PRODUCT_CHARS: usize = 30;
const CERTIFICATION_CHARS: usize = 24;
/// Longest name of a person.
const NAME_CHARS: usize = 40;
/// Words of a name.
const NAME_WORDS: RangeInclusive<usize> = 2..=4;
/// Words of a product name.
const PRODUCT_WORDS: RangeInclusive<usize> = 1..=5;
/// Most acres of one field, as the engine takes them.
const ACRES: RangeInclusive<f64> = 0.001..=10_000.0;

/// Answers that put a question off.
const LATER: [&[&str]; 8] = [
    &["later"],
    &["not", "now"],
    &["ask", "me", "later"],
    &["will", "do", "later"],
    &["luego"],
    &["despues"],
    &["mas", "tarde"],
    &["ahora", "no"],
];
/// Answers that name the writer.
const ME: [&[&str]; 9] = [
    &["me"],
    &["i", "did"],
    &["it", "was", "me"],
    &["i", "was"],
    &["myself"],
    &["yo"],
    &["yo", "mismo"],
    &["fui", "yo"],
    &["yo", "fui"],
];
/// Words around an amount.
const OF_AN_AMOUNT: [&str; 15] = [
    "about",
    "all",
    "altogether",
    "en",
    "fueron",
    "in",
    "it",
    "of",
    "product",
    "todo",
    "total",
    "used",
    "usamos",
    "was",
    "we",
];
/// Words around a number.
const OF_A_NUMBER: [&str; 22] = [
    "cert",
    "certificacion",
    "certification",
    "certified",
    "el",
    "epa",
    "es",
    "is",
    "its",
    "license",
    "lic",
    "licencia",
    "mi",
    "my",
    "no",
    "num",
    "number",
    "numero",
    "reg",
    "registration",
    "the",
    "nr",
];
/// Words that tell a sentence from a name.
const OF_A_SENTENCE: [&str; 34] = [
    "and", "are", "can", "call", "como", "cuando", "did", "do", "dont", "favor", "for", "have",
    "how", "i", "know", "llame", "me", "no", "not", "please", "que", "quien", "she", "sure",
    "thanks", "the", "they", "wait", "what", "when", "who", "why", "you", "your",
];

/// What an answer says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reading {
    /// Items with what is to stand on record.
    Given(Vec<(Item, String)>),
    /// The writer is meant.
    Me,
    /// Ask again another day.
    Later,
    /// It does not have the form that was asked for.
    Unreadable,
}

/// Reads the answer to a question about one item.
pub fn read(text: &str, asked: Item) -> Reading {
    let words = plain_words(text);
    let is_one_of = |forms: &[&[&str]]| forms.iter().any(|form| words == *form);
    if is_one_of(&LATER) {
        return Reading::Later;
    }
    if asked == Item::Applicator && is_one_of(&ME) {
        return Reading::Me;
    }
    let items = match asked {
        Item::Product => product(text),
        item => value(text, item).map(|value| vec![(item, value)]),
    };
    items.map_or(Reading::Unreadable, Reading::Given)
}

/// What is to stand on record for an item, in its one form; `None` when the text has not the form
/// of it.
pub fn value(text: &str, item: Item) -> Option<String> {
    match item {
        Item::Product => product_name(&written_words(text)),
        Item::Epa => the_one(epa_numbers(text)),
        Item::Amount => amount(text).map(|amount| amount.to_string()),
        Item::Acres => acres(text),
        Item::Applicator => name(text),
        Item::Certification => certification(text),
        Item::Start | Item::Stop => time(text),
        Item::Crop | Item::Location => {
            let text = text.trim();
            (!text.is_empty() && text.len() <= 120).then(|| text.to_owned())
        }
    }
}

/// The name of a product, its registration number or both.
fn product(text: &str) -> Option<Vec<(Item, String)>> {
    let numbers = epa_numbers(text);
    let words: Vec<String> = written_words(text)
        .into_iter()
        .filter(|word| epa_numbers(word).is_empty())
        .filter(|word| !OF_A_NUMBER.contains(&fold(word).trim_matches(['.', '#'])))
        .collect();
    let number = match numbers.as_slice() {
        [] => None,
        [only] => Some((Item::Epa, only.clone())),
        _ => return None,
    };
    let name = product_name(&words).map(|name| (Item::Product, name));
    if name.is_none() && !words.is_empty() {
        return None;
    }
    let found: Vec<_> = name.into_iter().chain(number).collect();
    (!found.is_empty()).then_some(found)
}

fn product_name(words: &[String]) -> Option<String> {
    let name = words.join(" ");
    let plain = |letter: char| letter.is_ascii_alphanumeric() || " .'&/-".contains(letter);
    let fits = PRODUCT_WORDS.contains(&words.len())
        && name.len() <= PRODUCT_CHARS
        && name.chars().all(plain)
        && name.chars().filter(char::is_ascii_alphabetic).count() >= 2
        && !is_sentence(words);
    fits.then_some(name)
}

fn name(text: &str) -> Option<String> {
    let words = written_words(text);
    let letters = |word: &String| {
        let mut letters = word.chars();
        letters.next().is_some_and(char::is_alphabetic)
            && letters.all(|letter| letter.is_alphabetic() || ".'-".contains(letter))
    };
    let name = words.join(" ");
    let fits = NAME_WORDS.contains(&words.len())
        && name.chars().count() <= NAME_CHARS
        && words.iter().all(letters)
        && !is_sentence(&words);
    let capital = |word: &String| {
        let mut letters = word.chars();
        letters.next().map(char::to_uppercase).into_iter().flatten().chain(letters).collect()
    };
    fits.then(|| words.iter().map(capital).collect::<Vec<String>>().join(" "))
}

fn is_sentence(words: &[String]) -> bool {
    words.iter().any(|word| OF_A_SENTENCE.contains(&fold(word).as_str()))
}

fn certification(text: &str) -> Option<String> {
    let words: Vec<String> = written_words(text)
        .into_iter()
        .map(|word| word.trim_start_matches('#').to_ascii_uppercase())
        .filter(|word| !OF_A_NUMBER.contains(&fold(word).trim_end_matches('.')))
        .filter(|word| !word.is_empty())
        .collect();
    let number = words.join(" ");
    let plain = |letter: char| letter.is_ascii_alphanumeric() || " ./-".contains(letter);
    let digits = number.chars().filter(char::is_ascii_digit).count();
    let fits = (1..=3).contains(&words.len())
        && number.len() <= CERTIFICATION_CHARS
        && number.starts_with(|letter: char| letter.is_ascii_alphanumeric())
        && number.chars().all(plain)
        && digits >= 3
        && amount(text).is_none();
    fits.then_some(number)
}

/// Every registration number of a text, none twice.
fn epa_numbers(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    for word in written_words(text) {
        let number: Option<EpaNumber> = word.trim_start_matches('#').parse().ok();
        let number = number.map(|number| number.to_string());
        found.extend(number.filter(|number| !found.contains(number)));
    }
    found
}

/// The words as written, without the marks around them.
fn written_words(text: &str) -> Vec<String> {
    let marks = [',', ';', ':', '!', '(', ')', '"'];
    let word = |word: &str| word.trim_matches(marks).trim_end_matches('.').to_owned();
    text.split_whitespace().map(word).filter(|word| !word.is_empty()).collect()
}

fn amount(text: &str) -> Option<Amount> {
    let words = counted_words(text);
    let (number, unit) = words.split_at(words.iter().position(|word| unit(word).is_some())?);
    let unit = match unit {
        [one] => self::unit(one)?,
        [fluid, ounces] if fluid == "fl" && self::unit(ounces) == Some(Unit::Oz) => Unit::FlOz,
        _ => return None,
    };
    let amount = quantity(number)?;
    Amount::RANGE.contains(&amount).then_some(Amount { amount, unit })
}

fn acres(text: &str) -> Option<String> {
    let words = counted_words(text);
    let (last, rest) = words.split_last()?;
    let of_acres = ["a", "ac", "acre", "acres"].contains(&last.as_str());
    let acres = quantity(if of_acres { rest } else { &words })?;
    ACRES.contains(&acres).then(|| acres.to_string())
}

/// Folded words without noise, a number apart from the unit behind it.
fn counted_words(text: &str) -> Vec<String> {
    let mut words = Vec::new();
    for word in fold(text).split_whitespace() {
        let word = word.trim_end_matches(['.', '!', ',']);
        let end = word.find(|letter: char| letter.is_alphabetic()).unwrap_or(word.len());
        let (number, rest) = word.split_at(end);
        words.extend([number, rest].into_iter().filter(|part| !part.is_empty()).map(str::to_owned));
    }
    // "a" is noise in a sentence and an acre behind a number.
    words.retain(|word| word == "a" || !(OF_AN_AMOUNT.contains(&word.as_str()) || is_noise(word)));
    words
}

/// A number, a fraction, or a number and a fraction.
fn quantity(words: &[String]) -> Option<f64> {
    match words {
        [one] => number(one).or_else(|| fraction(one)),
        [whole, part] => Some(number(whole)?.trunc() + fraction(part)?),
        _ => None,
    }
}

/// Digits with a point, or with a comma for one: three digits behind a comma are thousands.
fn number(word: &str) -> Option<f64> {
    let plain = |word: &str| {
        word.chars().all(|letter| letter.is_ascii_digit() || letter == '.')
            && word.starts_with(|letter: char| letter.is_ascii_digit() || letter == '.')
    };
    let text = match word.split_once(',') {
        None => word.to_owned(),
        Some((whole, thousands)) if thousands.split('.').next().is_some_and(|it| it.len() == 3) => {
            format!("{whole}{thousands}")
        }
        Some((whole, part)) => format!("{whole}.{part}"),
    };
    plain(&text).then(|| text.parse().ok()).flatten()
}

fn fraction(word: &str) -> Option<f64> {
    let (over, under) = word.split_once('/')?;
    let (over, under) = (over.parse::<u8>().ok()?, under.parse::<u8>().ok()?);
    (under > over && over > 0).then(|| f64::from(over) / f64::from(under))
}

fn unit(word: &str) -> Option<Unit> {
    Some(match word {
        "gal" | "gals" | "gallon" | "gallons" | "galon" | "galones" => Unit::Gal,
        "qt" | "qts" | "quart" | "quarts" | "cuarto" | "cuartos" => Unit::Qt,
        "pt" | "pts" | "pint" | "pints" | "pinta" | "pintas" => Unit::Pt,
        "fl" | "floz" => Unit::FlOz,
        "oz" | "ounce" | "ounces" | "onza" | "onzas" => Unit::Oz,
        "lb" | "lbs" | "pound" | "pounds" | "libra" | "libras" => Unit::Lb,
        _ => return None,
    })
}

fn time(text: &str) -> Option<String> {
    let time = NaiveTime::parse_from_str(text.trim(), "%H:%M").ok()?;
    Some(time.format("%H:%M").to_string())
}

fn the_one(found: Vec<String>) -> Option<String> {
    let [only]: [String; 1] = found.try_into().ok()?;
    Some(only)
}

#[cfg(test)]
mod tests;

//! The words of a reply, from which what is understood is taken until only the place is left.

use super::{Command, Pass, Place};
use crate::replies::dates::{self, DateWord};
use crate::replies::fields::is_crop;
use crate::replies::words::{fold, is_noise};
use furrowbell_engine::units::MM_PER_INCH;

/// Stands between two things that were listed.
const LISTED: &str = "&";
/// Stands where a word was taken.
const TAKEN: &str = "";

/// What a number counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Unit {
    /// Inches, tenths of them, or millimetres.
    Length,
    /// Days or weeks.
    Days,
    /// Parts per million.
    Ppm,
}

impl Unit {
    /// How many inches, days or ppm one of `word` is.
    fn size(self, word: &str) -> Option<f64> {
        match (self, word) {
            (Self::Length, "in" | "inch" | "inches" | "\"" | "pulgada" | "pulgadas")
            | (Self::Days, "d" | "day" | "days" | "dia" | "dias")
            | (Self::Ppm, "ppm") => Some(1.0),
            (Self::Length, "tenth" | "tenths") => Some(0.1),
            (Self::Length, "hundredth" | "hundredths") => Some(0.01),
            (Self::Length, "mm") => Some(1.0 / MM_PER_INCH),
            (Self::Length, "ft" | "foot" | "feet") => Some(12.0),
            (Self::Days, "wk" | "wks" | "week" | "weeks" | "semana" | "semanas") => Some(7.0),
            _ => None,
        }
    }
}

/// One number in a reply.
struct Amount {
    value: f64,
    first: usize,
    words: usize,
    has_unit: bool,
    has_point: bool,
}

/// The words of one reply, in order.
pub(super) struct Line {
    words: Vec<String>,
}

impl Line {
    pub(super) fn new(text: &str) -> Self {
        let words = spaced(&fold(text)).split_whitespace().flat_map(number_and_unit).collect();
        let mut line = Self { words };
        line.join_stages();
        line
    }

    pub(super) fn has_any(&self, wanted: &[&str]) -> bool {
        self.words.iter().any(|word| wanted.contains(&word.as_str()))
    }

    pub(super) fn starts_with(&self, wanted: &[&str]) -> bool {
        self.words.iter().zip(wanted).filter(|(word, wanted)| word == *wanted).count()
            == wanted.len()
    }

    pub(super) fn drop_first(&mut self, count: usize) {
        self.words.drain(..count);
    }

    /// Takes every one of some words.
    pub(super) fn drop_all(&mut self, words: &[&str]) {
        for word in self.words.iter_mut().filter(|word| words.contains(&word.as_str())) {
            TAKEN.clone_into(word);
        }
    }

    /// The one thing the reply reports and the place of its word; `None` when there are two.
    pub(super) fn command(&mut self) -> Option<(Command, usize)> {
        let finished = self.words.iter().any(|word| said_by(word) == Some(Command::Done));
        let mut found: Option<(Command, usize)> = None;
        for at in 0..self.words.len() {
            let command = match (said_by(&self.words[at]), self.words[at].as_str()) {
                (None, "planting" | "siembra") if finished => Some(Command::Planted),
                (None, "spraying" | "sidedressing" | "hoeing") if finished => Some(Command::Done),
                (command, _) => command,
            };
            let Some(command) = command else { continue };
            found = match found {
                None => Some((command, at)),
                Some((same, first)) if same == command => Some((same, first)),
                Some((Command::Done, first)) if command == Command::Planted => {
                    Some((Command::Planted, first))
                }
                Some((Command::Planted, first)) if command == Command::Done => {
                    Some((Command::Planted, first))
                }
                Some(_) => return None,
            };
            if pass_of(&self.words[at]).is_none() {
                TAKEN.clone_into(&mut self.words[at]);
            }
        }
        found
    }

    /// The pass that is named; `None` when two are.
    #[expect(clippy::option_option, reason = "outside: is the reply clear; inside: was one named")]
    pub(super) fn take_pass(&mut self) -> Option<Option<Pass>> {
        let mut found = None;
        for word in &mut self.words {
            let Some(pass) = pass_of(word) else { continue };
            found = match (found, pass) {
                (None | Some(Pass::Spray), _) => Some(pass),
                (Some(named @ (Pass::Pre | Pass::Post)), Pass::Spray) => Some(named),
                (Some(named), pass) if named == pass => Some(named),
                _ => return None,
            };
            TAKEN.clone_into(word);
        }
        Some(found)
    }

    /// The day that is named; `None` when two are.
    #[expect(clippy::option_option, reason = "outside: is the reply clear; inside: was one named")]
    pub(super) fn take_date(&mut self) -> Option<Option<DateWord>> {
        let mut found = None;
        for at in 0..self.words.len() {
            if let Some((date, count)) = dates::read(&self.words[at..]) {
                if found.is_some_and(|earlier| earlier != date) {
                    return None;
                }
                found = Some(date);
                self.take(at, count);
            }
        }
        Some(found)
    }

    /// The one number that can be meant, in the unit: one with a unit before one with a
    /// point before the one next to the command's word. `None` when two could be.
    pub(super) fn take_amount(&mut self, command_at: usize, unit: Unit) -> Option<f64> {
        let amounts = self.amounts(unit);
        let beside = |amount: &&Amount| {
            let says_nothing = |at: usize| {
                let word = &self.words[at];
                word.is_empty() || is_noise(word) || dates::read(&self.words[at..]).is_some()
            };
            let follows =
                amount.first > command_at && (command_at + 1..amount.first).all(says_nothing);
            follows || amount.first + amount.words == command_at
        };
        let ranks: [Vec<&Amount>; 3] = [
            amounts.iter().filter(|amount| amount.has_unit).collect(),
            amounts.iter().filter(|amount| amount.has_point).collect(),
            amounts.iter().filter(beside).collect(),
        ];
        let best = ranks.iter().find(|rank| !rank.is_empty())?;
        let [amount] = best.as_slice() else { return None };
        let (value, first, count) = (amount.value, amount.first, amount.words);
        self.take(first, count);
        Some(value)
    }

    fn amounts(&self, unit: Unit) -> Vec<Amount> {
        let mut amounts = Vec::new();
        let mut at = 0;
        while at < self.words.len() {
            match self.amount_at(at, unit) {
                Some(amount) => {
                    at += amount.words;
                    amounts.push(amount);
                }
                None => at += 1,
            }
        }
        amounts
    }

    fn amount_at(&self, first: usize, unit: Unit) -> Option<Amount> {
        let word = |at: usize| self.words.get(at).map_or(TAKEN, String::as_str);
        let one = ["a", "an", "un", "una", "one"].contains(&word(first));
        let number =
            if one { Some(1.0) } else { decimal(word(first)).or_else(|| fraction(word(first))) };
        let mut value = number?;
        let mut words = 1;
        let has_point = word(first).contains('.');
        if let Some(part) = fraction(word(first + 1)).filter(|_| value.fract() == 0.0 && !one) {
            value += part;
            words += 1;
        }
        let size = unit.size(word(first + words));
        // "A" and "one" are numbers only before a unit.
        let amount = size.or((!one).then_some(1.0))?;
        words += usize::from(size.is_some());
        Some(Amount { value: value * amount, first, words, has_unit: size.is_some(), has_point })
    }

    /// What is left is the place. "All" before the word of command ("all done") is only said so.
    pub(super) fn place(&self, command_at: usize) -> Place {
        let is_all = |word: &str| {
            ["all", "everything", "everywhere", "todo", "todos", "todas"].contains(&word)
        };
        let all = self.words.iter().skip(command_at).any(|word| is_all(word));
        let mut named: Vec<&str> = Vec::new();
        for word in self.words.iter().map(String::as_str) {
            let separates = word == LISTED;
            if separates && named.last().is_none_or(|last| *last == LISTED) {
                continue;
            }
            if separates || !(word.is_empty() || word == "\"" || is_noise(word) || is_all(word)) {
                named.push(word);
            }
        }
        if named.last() == Some(&LISTED) {
            named.pop();
        }
        if named.iter().all(|word| is_crop(word)) {
            return if all { Place::All } else { Place::Unsaid };
        }
        Place::Named(named.join(" "))
    }

    fn take(&mut self, first: usize, count: usize) {
        for word in self.words.iter_mut().skip(first).take(count) {
            TAKEN.clone_into(word);
        }
    }

    /// Writes "v 4" as "v4" and "side dressed" as one word.
    fn join_stages(&mut self) {
        let mut at = 0;
        while at + 1 < self.words.len() {
            let (first, second) = (self.words[at].as_str(), self.words[at + 1].as_str());
            let stage = matches!(first, "v" | "r") && second.parse::<u8>().is_ok();
            let sidedress = first == "side" && second.starts_with("dress");
            if stage || sidedress {
                let joined = format!("{first}{second}");
                self.words[at] = joined;
                self.words.remove(at + 1);
            }
            at += 1;
        }
    }
}

/// Puts spaces around everything but words, numbers, dates and fractions; a list's commas become
/// one sign.
fn spaced(text: &str) -> String {
    let letters: Vec<char> = text.chars().collect();
    let digit =
        |at: Option<usize>| at.and_then(|at| letters.get(at)).is_some_and(char::is_ascii_digit);
    let mut out = String::new();
    for (at, letter) in letters.iter().enumerate() {
        let before = digit(at.checked_sub(1));
        let after = digit(Some(at + 1));
        match letter {
            '\'' => {}
            '"' => out.push_str(" \" "),
            '.' if after => out.push('.'),
            '/' | '-' if before && after => out.push(*letter),
            ',' | ';' | '&' | '+' | '\n' => out.push_str(" & "),
            letter if letter.is_alphanumeric() => out.push(*letter),
            _ => out.push(' '),
        }
    }
    out.split_whitespace()
        .map(|word| if ["and", "y"].contains(&word) { LISTED } else { word })
        .collect::<Vec<_>>()
        .join(" ")
}

/// Parts a number from the unit written onto it: "3in", "0.6mm", "5days".
fn number_and_unit(word: &str) -> Vec<String> {
    let end = word.find(|letter: char| !(letter.is_ascii_digit() || "./-".contains(letter)));
    if let Some((number, unit)) = end.filter(|end| *end > 0).map(|end| word.split_at(end))
        && [Unit::Length, Unit::Days, Unit::Ppm].iter().any(|kind| kind.size(unit).is_some())
    {
        return vec![number.to_owned(), unit.to_owned()];
    }
    vec![word.to_owned()]
}

/// A number of at most six signs; of a range ("2-3") the larger.
fn decimal(word: &str) -> Option<f64> {
    if word.len() > 6 || !word.starts_with(|letter: char| letter.is_ascii_digit() || letter == '.')
    {
        return None;
    }
    let mut parts = word.split('-');
    let (first, second) = (parts.next()?.parse().ok()?, parts.next());
    match second {
        None => Some(first),
        Some(second) => {
            second.parse().ok().filter(|second| *second > first && parts.next().is_none())
        }
    }
}

/// A fraction of an inch as it stands on a gauge.
fn fraction(word: &str) -> Option<f64> {
    match word {
        "1/8" => Some(0.125),
        "1/4" => Some(0.25),
        "3/8" => Some(0.375),
        "1/2" => Some(0.5),
        "5/8" => Some(0.625),
        "3/4" => Some(0.75),
        "7/8" => Some(0.875),
        _ => None,
    }
}

fn said_by(word: &str) -> Option<Command> {
    match word {
        "done" | "finished" | "complete" | "completed" | "applied" | "hecho" | "hecha"
        | "listo" | "terminado" | "terminada" | "aplicado" | "sprayed" | "sidedressed" | "hoed"
        | "fumigado" | "fumigue" | "rociado" | "rocie" | "abonado" | "abone" | "rastreado"
        | "rastree" | "escardado" | "escarde" | "lista" => Some(Command::Done),
        "rain" | "rained" | "rainfall" | "lluvia" | "llovio" => Some(Command::Rain),
        "weed" | "weeds" | "maleza" | "malezas" => Some(Command::Weeds),
        "nitrate" | "nitrates" | "nitrato" | "nitratos" => Some(Command::Nitrate),
        "planted" | "sembrado" | "sembramos" => Some(Command::Planted),
        "hold" | "espera" => Some(Command::Hold),
        // "Planted" is a stage to the engine and a report here.
        _ if word.len() <= 3 => word.parse().ok().map(Command::Stage),
        _ => None,
    }
}

fn pass_of(word: &str) -> Option<Pass> {
    match word {
        "pre" => Some(Pass::Pre),
        "post" => Some(Pass::Post),
        "spray" | "sprayed" | "spraying" | "fumigado" | "fumigue" | "rociado" | "rocie" => {
            Some(Pass::Spray)
        }
        "sidedress" | "sidedressed" | "sidedressing" | "nitrogeno" | "abono" | "abonado"
        | "abone" => Some(Pass::Sidedress),
        "hoe" | "hoed" | "hoeing" | "rastra" | "rastreado" | "rastree" | "escarda"
        | "escardado" | "escarde" => Some(Pass::Hoe),
        _ => None,
    }
}

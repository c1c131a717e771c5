//! Reads one reply. Forgiving about how a thing is written, strict about what it says: a text
//! that denies, asks, foretells or says two things at once is [`Reply::Unclear`].

mod line;

use super::dates::DateWord;
use super::opt_out::{self, OptOut};
use super::words::{fold, plain_words};
use furrowbell_engine::clocks::Stage;
use line::{Line, Unit};

/// Rain of one day beyond this is taken for a slip ("rain 60" for .60).
const MOST_RAIN_IN: f64 = 15.0;
/// Weeds taller than this are taken for a slip.
const TALLEST_WEEDS_IN: f64 = 72.0;
/// A nitrate test richer than this is taken for a slip.
const RICHEST_NITRATE_PPM: f64 = 100.0;
/// Words that come with a nitrate test and name no place.
const OF_A_TEST: [&str; 18] = [
    "back", "came", "de", "level", "muestra", "n", "prueba", "psnt", "result", "results", "sample",
    "showed", "soil", "suelo", "taken", "test", "tested", "tests",
];
/// Nobody is held off longer than this by one text.
const LONGEST_HOLD_DAYS: f64 = 30.0;

/// What a reply says.
#[derive(Debug, Clone, PartialEq)]
pub enum Reply {
    /// Send nothing more.
    Stop,
    /// Send again.
    Start,
    /// Who is this, and what can be replied.
    Help,
    /// A pass is finished.
    Done {
        /// Which pass, when it was said.
        pass: Option<Pass>,
        /// Day, when it was said.
        date: Option<DateWord>,
        /// Field or fields.
        place: Place,
    },
    /// A rain gauge was read.
    Rain {
        /// Rain, inches.
        inches: f64,
        /// Day, when it was said.
        date: Option<DateWord>,
        /// Field or fields.
        place: Place,
    },
    /// The crop was seen at a stage.
    Stage {
        /// The stage.
        stage: Stage,
        /// Day, when it was said.
        date: Option<DateWord>,
        /// Field or fields.
        place: Place,
    },
    /// Somebody looked for weeds; a height of 0 found none.
    Weeds {
        /// Height of the tallest, inches.
        height_in: f64,
        /// Day, when it was said.
        date: Option<DateWord>,
        /// Field or fields.
        place: Place,
    },
    /// A nitrate test came back.
    Nitrate {
        /// What it showed, ppm.
        ppm: f64,
        /// Day on which the soil was taken, when it was said.
        date: Option<DateWord>,
        /// Field or fields.
        place: Place,
    },
    /// The field was planted.
    Planted {
        /// Day, when it was said.
        date: Option<DateWord>,
        /// Field or fields.
        place: Place,
    },
    /// Say nothing for some days.
    Hold {
        /// How many.
        days: u8,
        /// Field or fields.
        place: Place,
    },
    /// Why did the last text come.
    Why,
    /// It may ask to stop; a person decides.
    MaybeStop,
    /// Anything else.
    Unclear,
}

/// The pass that a reply reports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Pass {
    /// The pre pass.
    Pre,
    /// The post pass.
    Post,
    /// A spray pass; which one was not said.
    Spray,
    /// Sidedress.
    Sidedress,
    /// Rotary hoe or shallow cultivation.
    Hoe,
}

/// The place that a reply speaks of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Place {
    /// No place was named.
    Unsaid,
    /// All that was asked about.
    All,
    /// What was written, folded; " & " stands between two names.
    Named(String),
}

/// What a word of a reply is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Command {
    Done,
    Rain,
    Weeds,
    Nitrate,
    Planted,
    Hold,
    Stage(Stage),
}

/// Words after which a report is none: denied, asked, foreseen, partial or conditional.
const DOUBT: [&str; 67] = [
    "aint",
    "almost",
    "although",
    "aun",
    "before",
    "but",
    "calling",
    "can",
    "cant",
    "chance",
    "could",
    "couldnt",
    "didnt",
    "doesnt",
    "dont",
    "except",
    "expect",
    "expecting",
    "forecast",
    "going",
    "gonna",
    "half",
    "hasnt",
    "havent",
    "hope",
    "hoping",
    "how",
    "if",
    "isnt",
    "left",
    "manana",
    "maybe",
    "might",
    "mostly",
    "nearly",
    "need",
    "needed",
    "needs",
    "never",
    "no",
    "nope",
    "not",
    "only",
    "partly",
    "partially",
    "pero",
    "raining",
    "redo",
    "replant",
    "replanted",
    "should",
    "started",
    "supposed",
    "than",
    "think",
    "tomorrow",
    "tonight",
    "unless",
    "until",
    "waiting",
    "wasnt",
    "what",
    "when",
    "where",
    "will",
    "wont",
    "yet",
];

/// How phones begin the report of a reaction to a text.
const REACTIONS: [&str; 10] = [
    "disliked",
    "emphasized",
    "laughed",
    "le",
    "liked",
    "loved",
    "questioned",
    "reacted",
    "removed",
    "to",
];

/// First words of a question, with or without its mark.
const ASKING: [&str; 7] = ["are", "did", "do", "does", "is", "should", "was"];

/// Reads one reply.
pub fn parse(text: &str) -> Reply {
    if quotes_our_text(text) {
        return Reply::Unclear;
    }
    match opt_out::judge(text) {
        OptOut::Plain => Reply::Stop,
        OptOut::Likely => Reply::MaybeStop,
        hint => match command(text) {
            Reply::Unclear if hint == OptOut::Faint => Reply::MaybeStop,
            reply => reply,
        },
    }
}

/// Phones report a thumbs-up on a text by sending it back in quotes, with our reply words in it.
fn quotes_our_text(text: &str) -> bool {
    let folded = fold(text);
    let before = folded.find('"').map_or("", |mark| &folded[..mark]);
    let words = plain_words(before);
    let verb = words.first().map_or("", String::as_str);
    words.len() <= 4 && REACTIONS.contains(&verb)
}

fn command(text: &str) -> Reply {
    let words = plain_words(text);
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    match words.as_slice() {
        [] if text.trim() == "?" => return Reply::Help,
        ["help" | "info" | "ayuda"] | ["help" | "info", "please"] => return Reply::Help,
        ["start" | "unstop" | "yes" | "si" | "resume"] | ["start" | "yes", "please"] => {
            return Reply::Start;
        }
        ["why", ..] | ["por", "que", ..] => return Reply::Why,
        _ => {}
    }
    let mut line = Line::new(text);
    if ASKING.iter().any(|word| line.starts_with(&[word])) {
        return Reply::Unclear;
    }
    if let Some(reply) = denial(&mut line) {
        return reply;
    }
    if text.contains(['?', '%']) || line.has_any(&DOUBT) {
        return Reply::Unclear;
    }
    line.command().and_then(|(command, at)| read(command, at, line)).unwrap_or(Reply::Unclear)
}

/// The denials that are reports: "no rain" reads a gauge as zero, "no weeds" is a look that found
/// none.
const DENIALS: [(&[&str], Command); 9] = [
    (&["no", "rain"], Command::Rain),
    (&["zero", "rain"], Command::Rain),
    (&["sin", "lluvia"], Command::Rain),
    (&["no", "llovio"], Command::Rain),
    (&["no", "weeds"], Command::Weeds),
    (&["zero", "weeds"], Command::Weeds),
    (&["sin", "maleza"], Command::Weeds),
    (&["no", "maleza"], Command::Weeds),
    (&["no", "hay", "maleza"], Command::Weeds),
];

fn denial(line: &mut Line) -> Option<Reply> {
    let (words, command) = DENIALS.iter().find(|(words, _)| line.starts_with(words))?;
    line.drop_first(words.len());
    if line.has_any(&DOUBT) {
        return Some(Reply::Unclear);
    }
    let Some(date) = line.take_date() else { return Some(Reply::Unclear) };
    let place = line.place(0);
    Some(match command {
        Command::Rain => Reply::Rain { inches: 0.0, date, place },
        _ => Reply::Weeds { height_in: 0.0, date, place },
    })
}

fn read(command: Command, at: usize, mut line: Line) -> Option<Reply> {
    let reply = match command {
        Command::Done => {
            let pass = line.take_pass()?;
            let date = line.take_date()?;
            Reply::Done { pass, date, place: line.place(at) }
        }
        Command::Planted => {
            let date = line.take_date()?;
            Reply::Planted { date, place: line.place(at) }
        }
        Command::Stage(stage) => {
            let date = line.take_date()?;
            Reply::Stage { stage, date, place: line.place(at) }
        }
        Command::Rain => {
            let inches = line.take_amount(at, Unit::Length)?;
            let date = line.take_date()?;
            (0.0..=MOST_RAIN_IN).contains(&inches).then_some(())?;
            Reply::Rain { inches, date, place: line.place(at) }
        }
        Command::Weeds => {
            let height_in = line.take_amount(at, Unit::Length)?;
            let date = line.take_date()?;
            (0.0..=TALLEST_WEEDS_IN).contains(&height_in).then_some(())?;
            Reply::Weeds { height_in, date, place: line.place(at) }
        }
        Command::Nitrate => {
            line.drop_all(&OF_A_TEST);
            let ppm = line.take_amount(at, Unit::Ppm)?;
            let date = line.take_date()?;
            (0.0..=RICHEST_NITRATE_PPM).contains(&ppm).then_some(())?;
            Reply::Nitrate { ppm, date, place: line.place(at) }
        }
        Command::Hold => {
            let days = line.take_amount(at, Unit::Days)?;
            let whole = days.fract() == 0.0 && (1.0..=LONGEST_HOLD_DAYS).contains(&days);
            let days = (1..=u8::MAX).find(|day| whole && f64::from(*day) >= days)?;
            Reply::Hold { days, place: line.place(at) }
        }
    };
    Some(reply)
}

#[cfg(test)]
mod tests;

//! What every text must keep, in whatever words it is said: the shipped wording over all values,
//! and a text of the book's own before it is used.

use super::gsm7;
use super::readability::{grade, sentences, syllables, words};
use furrowbell_config::people::Language;
use furrowbell_engine::reference::herbicides::Ingredient;
use furrowbell_engine::reference::weeds::Weed;

/// Characters in which a reader must find who writes and about which field.
pub(super) const NAMED_WITHIN: usize = 90;
/// Most words of a sentence.
const SENTENCE_WORDS: usize = 14;
/// Most syllables of an English word that is neither an ingredient nor a field's name.
const MOST_SYLLABLES: usize = 3;
/// Highest Flesch-Kincaid grade.
const MOST_GRADE: f64 = 6.0;
const MOST_SEGMENTS: usize = 2;

/// What permits a spray, which only a label does.
const PERMITS: [&str; 9] = [
    "you may",
    "may spray",
    "can spray",
    "allowed",
    "safe to",
    "puede aplicar",
    "puede rociar",
    "permitido",
    "es seguro",
];
/// Words that misled readers of public alerts, trade jargon, days without a date, and traces of a
/// template gone wrong.
const MISLEADING: [&str; 16] = [
    "anthesis",
    "conducive",
    "prophylactic",
    "phenology",
    "inoculum",
    "advisory",
    "watch",
    "warning",
    "tonight",
    "tomorrow",
    "aviso",
    "alerta",
    "mañana",
    " mm",
    "undefined",
    "none",
];
const HEDGES: [&str; 3] = ["likely", "probable", "quiza"];
const CAUTIONS: [&str; 8] = ["follow", "check", "read", "obey", "siga", "vea", "lea", "revise"];

/// What one text must keep.
#[derive(Debug, Clone, Default)]
pub(super) struct Keep<'a> {
    /// Who writes.
    pub sender: &'a str,
    /// The field that is named first.
    pub field: Option<&'a str>,
    /// Days by which something is to be done.
    pub deadlines: Vec<String>,
    /// Whether it rests on weather that is not measured.
    pub likely: bool,
    /// Whether it urges a spray or names a chemical.
    pub caution: bool,
    /// Words to reply with.
    pub replies: Vec<String>,
}

/// A rule that a text does not keep: what is wrong and what to do.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub(super) enum Broken {
    #[error("\"{0}\" is in no SMS alphabet and has no plain spelling; leave it out")]
    Alphabet(char),
    #[error("takes {0} SMS segments with the longest values, 2 are the most; say it shorter")]
    Segments(usize),
    #[error("two findings no longer fit one text; say it shorter")]
    NoBundle,
    #[error("the text no longer begins with the sender; put {{{{ sender }}}} first")]
    Sender,
    #[error("the field is not named within 90 characters; name it earlier")]
    Field,
    #[error("the day to act by is gone; keep {{{{ by }}}}")]
    Deadline,
    #[error("the caution is gone; say it as in \"Check your label.\"")]
    Caution,
    #[error(
        "sounds certain where it rests on forecast; keep \"likely\" where `provisional` is set"
    )]
    Certain,
    #[error("the reply word {0} is gone; keep it in capitals")]
    Reply(String),
    #[error("\"{0}\" permits a spray, which only a label does; leave it out")]
    Permits(&'static str),
    #[error("\"{}\" misleads or is not said to growers; use another word", .0.trim())]
    Misleading(&'static str),
    #[error("a sentence has {0} words, 14 are the most; cut it in two")]
    LongSentence(usize),
    #[error("tells to do {0} things, one is wanted")]
    Actions(usize),
    #[error("asks for {0} replies, one is wanted")]
    Asks(usize),
    #[error("has stray spaces")]
    Spaces,
    #[error("has a date like 5/6, which can be read two ways; name the month")]
    NumericDate,
    #[error("\"{0}\" has more than three syllables; use a shorter word")]
    HardWord(String),
    #[error("reads at school grade {0:.1}, 6 is the most; use shorter words and sentences")]
    Grade(f64),
}

/// What a text must keep so that it may be sent at all.
pub(super) fn broken(text: &str, keep: &Keep<'_>) -> Vec<Broken> {
    let said = text.to_lowercase();
    let mut broken = Vec::new();
    let mut demand = |kept: bool, rule: Broken| {
        if !kept {
            broken.push(rule);
        }
    };
    let segments = gsm7::segments(text);
    demand(segments <= MOST_SEGMENTS, Broken::Segments(segments));
    demand(text.starts_with(keep.sender), Broken::Sender);
    demand(keep.field.is_none_or(|field| named_early(text, field)), Broken::Field);
    demand(keep.deadlines.iter().all(|day| text.contains(day)), Broken::Deadline);
    demand(!keep.caution || cautions(&said), Broken::Caution);
    demand(!keep.likely || hedges(&said), Broken::Certain);
    let asked = reply_words(text);
    for word in &keep.replies {
        demand(asked.contains(word), Broken::Reply(word.clone()));
    }
    for permit in PERMITS {
        demand(!said.contains(permit), Broken::Permits(permit));
    }
    broken
}

/// Which kind of text is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Form {
    /// It tells one finding.
    Telling,
    /// It takes one back.
    TakingBack,
    /// It tells several, by sentences and lists.
    Several,
    /// It answers a reply.
    Answer,
}

/// What else keeps a text easy to read. `names` are those of fields, read at one glance.
pub(super) fn hard_to_read(
    text: &str,
    form: Form,
    language: Language,
    names: &[&str],
) -> Vec<Broken> {
    let short = names.iter().fold(text.to_owned(), |said, name| said.replace(name, "Field"));
    let said = short.to_lowercase();
    let misleading = MISLEADING.iter().filter(|word| said.contains(**word));
    let mut hard: Vec<Broken> = misleading.map(|word| Broken::Misleading(word)).collect();
    if ["  ", " .", " ,", " :"].iter().any(|stray| text.contains(stray)) {
        hard.push(Broken::Spaces);
    }
    hard.extend(has_numeric_date(&short).then_some(Broken::NumericDate));
    let longest = read_apart(&short, form).iter().map(|part| words(part).len()).max();
    hard.extend(longest.filter(|words| *words > SENTENCE_WORDS).map(Broken::LongSentence));
    let (acts, asks) = (actions(&said), asks(&said));
    let one_act = match form {
        Form::Telling => acts == 1,
        Form::TakingBack => acts <= 1,
        Form::Several | Form::Answer => true,
    };
    hard.extend((!one_act).then_some(Broken::Actions(acts)));
    hard.extend((form != Form::Answer && asks != 1).then_some(Broken::Asks(asks)));
    if language == Language::English {
        let words = words(&short);
        let difficult = words.iter().find(|word| is_ours(word) && syllables(word) > MOST_SYLLABLES);
        hard.extend(difficult.map(|word| Broken::HardWord((*word).to_owned())));
        let grade = grade(&read_apart(&short, form).join(". "));
        hard.extend((grade > MOST_GRADE).then_some(Broken::Grade(grade)));
    }
    hard
}

/// The parts of a text that are read one by one: the sentences after who writes and where, and in
/// a text of several findings the entries of its lists too.
fn read_apart(text: &str, form: Form) -> Vec<String> {
    let prose = match form {
        Form::Telling | Form::TakingBack => text.split_once(". ").map_or(text, |(_, prose)| prose),
        Form::Answer => text.split_once(": ").map_or(text, |(_, prose)| prose),
        Form::Several => text,
    };
    let prose = prose.replace('\n', " ");
    let apart: &[char] =
        if matches!(form, Form::Several | Form::Answer) { &[':', ','] } else { &[] };
    let parts = sentences(&prose).into_iter().flat_map(|sentence| sentence.split(apart));
    parts
        .map(|part| part.trim().trim_end_matches('.').to_owned())
        .filter(|part| !part.is_empty())
        .collect()
}

/// Whether the word is of our choosing: neither a number nor the name of an ingredient or a weed.
fn is_ours(word: &str) -> bool {
    let word = word.trim_matches(|c: char| !c.is_alphanumeric());
    word.chars().any(char::is_alphabetic)
        && !Ingredient::ALL.iter().any(|ingredient| word.contains(ingredient.name()))
        && !Weed::ALL.iter().any(|weed| weed.name().contains(word))
}

/// A date such as 5/6, which some read as May 6 and others as June 5.
fn has_numeric_date(text: &str) -> bool {
    let letters: Vec<char> = text.chars().collect();
    letters
        .windows(3)
        .any(|three| three[0].is_ascii_digit() && three[1] == '/' && three[2].is_ascii_digit())
}

/// A character that no spelling of the SMS alphabet stands for.
pub(super) fn unspeakable(template: &str) -> Option<Broken> {
    let lost = |character: &char| *character != '?' && gsm7::plain(&character.to_string()) == "?";
    template.chars().find(lost).map(Broken::Alphabet)
}

pub(super) fn named_early(text: &str, field: &str) -> bool {
    text.find(field)
        .is_some_and(|at| text[..at].chars().count() + field.chars().count() <= NAMED_WITHIN)
}

pub(super) fn hedges(said: &str) -> bool {
    HEDGES.iter().any(|hedge| said.contains(hedge))
}

/// Whether a sentence sends the reader to the label.
pub(super) fn cautions(said: &str) -> bool {
    sentences(said).into_iter().any(|sentence| {
        CAUTIONS.iter().any(|verb| sentence.starts_with(verb))
            && (sentence.contains("label") || sentence.contains("etiqueta"))
    })
}

/// The words in capitals of the sentences that ask for a reply.
pub(super) fn reply_words(text: &str) -> Vec<String> {
    const ASKS: [&str; 4] = ["reply", "responda", "stop", "alto"];
    let asks = |sentence: &&str| {
        let said = sentence.to_lowercase();
        ASKS.iter().any(|word| said.contains(word))
    };
    let plain = |word: &str| word.trim_matches(|c: char| !c.is_alphanumeric()).to_owned();
    let in_capitals = |word: &String| {
        word.chars().count() > 1
            && word.chars().any(char::is_uppercase)
            && !word.chars().any(char::is_lowercase)
    };
    let asking = sentences(text).into_iter().filter(asks);
    asking.flat_map(str::split_whitespace).map(plain).filter(in_capitals).collect()
}

fn asks(said: &str) -> usize {
    said.matches("reply ").count() + said.matches("responda ").count()
}

/// How many sentences tell to do something in the field, by the verb they open with.
fn actions(said: &str) -> usize {
    const VERBS: [&str; 28] = [
        "check the",
        "work it in",
        "incorpore",
        "dig",
        "desentierre",
        "look",
        "hoe",
        "get",
        "plan",
        "finish",
        "call",
        "sidedress",
        "read",
        "spray",
        "revise",
        "busque",
        "rastree",
        "aliste",
        "planee",
        "termine",
        "llamenos",
        "abone",
        "lea",
        "cover",
        "apply",
        "aplique",
        "plant ",
        "siembre",
    ];
    let tells = |sentence: &&str| VERBS.iter().any(|verb| sentence.starts_with(verb));
    sentences(said).into_iter().filter(tells).count()
}

//! Whether a text asks us to stop.
//!
//! The words that always count are those of 47 CFR 64.1200(a)(10) (89 FR 15756, 2024): stop, quit,
//! end, revoke, opt out, cancel, unsubscribe. STOPALL and the Spanish ones are common practice.
//! What only might ask to stop goes to a person, and nothing is sent until that person decides.

use super::fields::distance;
use super::words::plain_words;

/// What a text says about stopping.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum OptOut {
    /// The whole text asks to stop.
    Plain,
    /// A stop word stands among others.
    Likely,
    /// A word stands there that asks to stop only if nothing else makes sense of the text.
    Faint,
    /// Nothing of the kind.
    No,
}

const STOP_WORDS: [&str; 9] =
    ["stop", "stopall", "quit", "end", "revoke", "cancel", "unsubscribe", "optout", "remove"];

/// Ways to ask that need more than one word, each the whole text but for objects.
const STOP_PHRASES: [&[&str]; 14] = [
    &["opt", "out"],
    &["opt", "me", "out"],
    &["no", "more"],
    &["do", "not", "text"],
    &["dont", "text"],
    &["do", "not", "send"],
    &["dont", "send"],
    &["take", "me", "off"],
    &["leave", "me", "alone"],
    &["no", "mas"],
    &["para"],
    &["pare"],
    &["alto"],
    &["cancelar"],
];

/// What may be stopped without a doubt that it means our texts.
const OBJECTS: [&str; 31] = [
    "alerts",
    "all",
    "any",
    "anymore",
    "de",
    "enviar",
    "enviarme",
    "from",
    "it",
    "list",
    "mandar",
    "mandarme",
    "me",
    "mensajes",
    "messages",
    "messaging",
    "more",
    "my",
    "number",
    "of",
    "sending",
    "service",
    "sms",
    "text",
    "texting",
    "textos",
    "texts",
    "the",
    "these",
    "this",
    "your",
];

const POLITE: [&str; 12] =
    ["please", "pls", "plz", "thanks", "thank", "you", "thx", "now", "ok", "hey", "por", "favor"];

pub(super) fn judge(text: &str) -> OptOut {
    let mut words = plain_words(text);
    words.retain(|word| !POLITE.contains(&word.as_str()));
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    if asks_to_stop(&words) { OptOut::Plain } else { hints(&words) }
}

fn asks_to_stop(words: &[&str]) -> bool {
    let only_objects = |rest: &[&str]| rest.iter().all(|word| OBJECTS.contains(word));
    match words {
        [] => false,
        // "S.T.O.P"
        spelt if STOP_WORDS[..8].contains(&spelt.concat().as_str()) => true,
        // "Stop. Stop!" is no less clear than once.
        [first, rest @ ..] if STOP_WORDS.contains(first) => {
            only_objects(rest) && (*first != "remove" || rest.contains(&"me"))
                || rest.iter().all(|word| STOP_WORDS.contains(word)) && *first != "remove"
        }
        _ => {
            STOP_PHRASES.iter().any(|phrase| words.strip_prefix(*phrase).is_some_and(only_objects))
        }
    }
}

fn hints(words: &[&str]) -> OptOut {
    const ANYWHERE: [&str; 8] =
        ["stop", "stopall", "quit", "revoke", "cancel", "unsubscribe", "optout", "cancelar"];
    const OFTEN_MISSPELT: [&str; 3] = ["stop", "cancel", "unsubscribe"];
    const PAIRS: [[&str; 2]; 11] = [
        ["opt", "out"],
        ["remove", "me"],
        ["wrong", "number"],
        ["dont", "text"],
        ["not", "text"],
        ["more", "texts"],
        ["me", "alone"],
        ["no", "mas"],
        ["ya", "no"],
        ["deja", "de"],
        ["dejen", "de"],
    ];
    let has_pair = words.windows(2).any(|two| PAIRS.iter().any(|pair| pair.as_slice() == two));
    let misspelt = matches!(words, [word] if OFTEN_MISSPELT
        .iter()
        .any(|right| word.len().abs_diff(right.len()) <= 1 && distance(word, right) == 1));
    if has_pair || misspelt || words.iter().any(|word| ANYWHERE.contains(word)) {
        return OptOut::Likely;
    }
    let inflected = ["stops", "stopped", "stopping", "cancelled", "canceled"];
    if words.first() == Some(&"end") || words.iter().any(|word| inflected.contains(word)) {
        return OptOut::Faint;
    }
    OptOut::No
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_whole_text_asks_to_stop() {
        for text in [
            "STOP",
            "stop.",
            "Stop!!",
            " sToP ",
            "opt out",
            "opt-out",
            "OPTOUT",
            "unsubscribe please",
            "please stop texting me",
            "quit",
            "END",
            "revoke",
            "cancel",
            "stopall",
            "no more texts",
            "para",
            "alto",
            "no mas",
            "No más",
            "¡Alto!",
            "Stop. Stop!",
            "STOP ALL",
            "Please don't text me anymore",
            "take me off your list",
            "cancel texts",
            "remove me",
            "no mas mensajes por favor",
            "end",
            "leave me alone",
            "s.t.o.p",
            "para de mandarme mensajes",
        ] {
            assert_eq!(judge(text), OptOut::Plain, "{text}");
        }
    }

    #[test]
    fn a_stop_word_in_another_sentence_is_left_to_a_person() {
        for text in [
            "cancel that, 12 not 21",
            "did you stop the pump?",
            "STOP 2",
            "stpo",
            "sotp stop",
            "I want to opt out of this",
            "wrong number",
            "unsuscribe",
            "unsuscribe",
            "you can quit bothering me",
        ] {
            assert_eq!(judge(text), OptOut::Likely, "{text}");
        }
        for text in ["stopped raining here", "end of field is wet"] {
            assert_eq!(judge(text), OptOut::Faint, "{text}");
        }
        for text in
            ["done", "shop", "north end done", "lluvia .6 para norte", "more rain", "remove"]
        {
            let expected = if text == "shop" { OptOut::Likely } else { OptOut::No };
            assert_eq!(judge(text), expected, "{text}");
        }
    }
}

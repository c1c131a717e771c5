//! How hard a text is to read.

/// The sentences of a text. A stop inside a number or a name does not end one.
pub fn sentences(text: &str) -> Vec<&str> {
    text.split_inclusive(['.', '?', '!'])
        .fold(Vec::<(usize, usize)>::new(), |mut spans, piece| {
            let start = spans.last().map_or(0, |(_, end)| *end);
            let end = start + piece.len();
            let continues = spans.last().is_some_and(|_| !piece.starts_with(char::is_whitespace));
            match spans.last_mut() {
                Some(open) if continues => open.1 = end,
                _ => spans.push((start, end)),
            }
            spans
        })
        .into_iter()
        .map(|(start, end)| text[start..end].trim())
        .filter(|sentence| !sentence.is_empty())
        .collect()
}

pub fn words(text: &str) -> Vec<&str> {
    text.split_whitespace().filter(|word| word.chars().any(char::is_alphanumeric)).collect()
}

/// Syllables of an English word by its vowel groups; a number counts one.
pub fn syllables(word: &str) -> usize {
    let letters: Vec<char> =
        word.chars().filter(|c| c.is_alphabetic()).map(|c| c.to_ascii_lowercase()).collect();
    let is_vowel = |c: char| "aeiouyáéíóúü".contains(c);
    let groups = (0..letters.len())
        .filter(|&i| is_vowel(letters[i]) && (i == 0 || !is_vowel(letters[i - 1])))
        .count();
    let text: String = letters.iter().collect();
    let silent = (text.ends_with('e') && !text.ends_with("le") && !text.ends_with("ee"))
        || (text.ends_with("ed") && !text.ends_with("ted") && !text.ends_with("ded"))
        || (text.ends_with("es")
            && !["ses", "xes", "ches", "shes", "zes", "ges", "ces"]
                .iter()
                .any(|end| text.ends_with(end)));
    groups.saturating_sub(usize::from(silent && groups > 1)).max(1)
}

/// Flesch-Kincaid grade: 0.39 words/sentence + 11.8 syllables/word - 15.59 (Kincaid, Fishburne,
/// Rogers & Chissom 1975, Derivation of new readability formulas for Navy enlisted personnel).
pub fn grade(text: &str) -> f64 {
    let words = words(text);
    let count = |n: usize| f64::from(u32::try_from(n).unwrap());
    let syllables = words.iter().map(|word| syllables(word)).sum();
    0.39 * count(words.len()) / count(sentences(text).len())
        + 11.8 * count(syllables) / count(words.len())
        - 15.59
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stop_inside_a_number_ends_no_sentence() {
        let text = "Desk: North 80. 0.7 in rain set it. Reply like RAIN 0.4.";
        assert_eq!(
            sentences(text),
            ["Desk: North 80.", "0.7 in rain set it.", "Reply like RAIN 0.4."]
        );
    }

    /// Grades from textstat 0.7.8, an independent counter; within 1.0 on short texts.
    #[test]
    fn grades_as_an_independent_counter_does() {
        for (text, wanted) in [
            ("The cat sat on the mat.", -1.45),
            (
                "Farm Desk: Frost likely on Field North 12 Wed May 6, 2 AM to 6 AM. Low near 28 F. \
                 Cover the seedlings by Tue 8 PM. Reply 1 if done.",
                1.14,
            ),
            (
                "Farm Desk: High risk of disease in Field North 12 by Fri May 8. Spray before Thu \
                 May 7, 6 PM. Wind is best from 7 AM to 10 AM. Reply 1 when done.",
                0.91,
            ),
            (
                "Prairie Desk: North 80 corn. It hit 34 F Tue May 19, soon after planting. Check the stand by Fri May 29. Reply DONE when checked.",
                0.56,
            ),
            (
                "Prairie Desk: North 80 beans. Forecast: beans will likely be up Fri May 22. Check the stand by Mon May 25. Reply with the stage you see, like V1.",
                0.67,
            ),
            (
                "Prairie Desk: North 80 corn. Your pre got 0.2 in rain in 5 days. It needs 0.5 in. Look for small weeds by Sat May 23. Reply with your gauge, like RAIN 0.4.",
                -0.93,
            ),
            (
                "Prairie Desk: North 80. Forecast: rain by Fri May 22 will likely set your pre. Plan the post pass for about Mon Jun 15. Reply DONE. Follow the label.",
                1.89,
            ),
            (
                "Prairie Desk: North 80. Beans will likely pass R1, the limit on a typical fomesafen label. Finish the post pass by Sun May 24. Reply DONE. Check your label.",
                3.11,
            ),
            (
                "Prairie Desk: North 80 corn. Soil is slow to feed the crop after a cool spring. Sidedress 120 lb N early, by Wed Jun 3. Reply DONE when it is on.",
                1.52,
            ),
            (
                "Prairie Desk: North 80 beans. We have no weather data since Sat May 16, so dates may be off. Read your rain gauge. Reply with the inches, like RAIN 0.4.",
                1.10,
            ),
            (
                "Prairie Desk: You will get texts about your fields, up to 3 a day. Message and data rates may apply. Reply HELP for help, STOP to end.",
                2.34,
            ),
            (
                "Environmental conditions conducive to infection by Fusarium graminearum are anticipated at anthesis; prophylactic application of a triazole fungicide is recommended subsequent to evaluation of canopy phenology.",
                25.87,
            ),
        ] {
            let ours = grade(text);
            assert!((ours - wanted).abs() <= 1.0, "{ours} for {text}");
        }
    }
}

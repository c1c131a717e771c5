//! `furrowbell wording`: every text as it would read on a phone, the book's own beside the shipped.

use super::Failure;
use crate::wording::Wording;
use crate::wording::sheet::{PHONE_COLUMNS, Section, Shown, cost, on_phone};
use clap::{Args, ValueEnum};
use furrowbell_config::people::Language;
use furrowbell_config::wording::Edits;
use furrowbell_engine::findings::Topic;
use std::path::PathBuf;

/// Arguments of `wording`.
#[derive(Debug, Args)]
pub struct WordingArgs {
    /// A topic such as `seedbed`, `several` (topics in one text) or `answers`; without it, all.
    topic: Option<String>,
    /// Language of the texts; without it, both.
    #[arg(long, value_enum)]
    language: Option<LanguageArg>,
    /// Print the keys with their shipped templates and what they may use, to copy from; here
    /// `frame`, `crops` and `digest` can be asked for, too.
    #[arg(long)]
    templates: bool,
    /// Folder of the book; without it, the shipped wording alone is shown.
    #[arg(long, env = "FURROWBELL_BOOK", value_name = "BOOK")]
    book: Option<PathBuf>,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum LanguageArg {
    /// English.
    En,
    /// Spanish.
    Es,
}

/// Prints the texts, or the templates.
pub fn run(args: &WordingArgs) -> Result<(), Failure> {
    let edits = match &args.book {
        Some(folder) => super::load(folder)?.wording,
        None => Edits::default(),
    };
    let broken = |error: crate::wording::WordingFault| Failure::Trouble(error.into());
    let (shipped, own) =
        (Wording::load().map_err(broken)?, Wording::of_book(&edits).map_err(broken)?);
    warn_of_unused(&own);
    let languages = match args.language {
        None => Language::ALL.to_vec(),
        Some(LanguageArg::En) => vec![Language::English],
        Some(LanguageArg::Es) => vec![Language::Spanish],
    };
    for language in languages {
        if args.templates {
            print_templates(&shipped, language, args.topic.as_deref())?;
        } else {
            print_texts(&shipped, &own, language, args.topic.as_deref())?;
        }
    }
    Ok(())
}

/// Tells on standard error what of the book's own wording is not used.
pub(super) fn warn_of_unused(wording: &Wording) {
    for fault in wording.unused() {
        eprintln!("warning: {fault}");
    }
}

fn print_texts(
    shipped: &Wording,
    own: &Wording,
    language: Language,
    wanted: Option<&str>,
) -> Result<(), Failure> {
    let is_wanted = |section: &Section| wanted.is_none_or(|wanted| wanted == section.name);
    let (shipped, own) = (shipped.sections(language), own.sections(language));
    if !shipped.iter().any(is_wanted) {
        let known: Vec<&str> = shipped.iter().map(|section| section.name.as_str()).collect();
        return Err(unknown(wanted.unwrap_or_default(), &known));
    }
    for (shipped, own) in shipped.iter().zip(&own).filter(|(shipped, _)| is_wanted(shipped)) {
        say!("== {} ({})", shipped.name, language.code());
        for text in &shipped.texts {
            let yours = own.texts.iter().find(|yours| yours.what == text.what);
            print_text(text, yours.filter(|yours| *yours != text), language);
        }
    }
    Ok(())
}

fn print_text(shipped: &Shown, yours: Option<&Shown>, language: Language) {
    say!("\n{}", shipped.what);
    let column = |of: &str, shown: &Shown| {
        let mut lines = vec![format!("{of}{}", cost(&shown.text))];
        lines.extend(on_phone(&shown.text));
        if let Some(line) = &shown.line {
            lines.extend(on_phone(&format!("digest: {line}")));
        }
        lines
    };
    let Some(yours) = yours else {
        for line in column("", shipped) {
            say!("  {line}");
        }
        return;
    };
    let (left, right) = (column("shipped, ", shipped), column("yours, ", yours));
    for at in 0..left.len().max(right.len()) {
        let [left, right] = [&left, &right].map(|lines| lines.get(at).map_or("", String::as_str));
        say!("{}", format!("  {left:PHONE_COLUMNS$}  {right}").trim_end());
    }
    for note in yours.hard_to_read(language) {
        say!("  note on yours: {note}");
    }
}

fn print_templates(
    wording: &Wording,
    language: Language,
    wanted: Option<&str>,
) -> Result<(), Failure> {
    let groups = ["frame", "crops", "answers", "digest"];
    let topics =
        Topic::ALL.into_iter().filter(|topic| wanted.is_none_or(|name| name == topic.name()));
    let groups_wanted = groups.into_iter().filter(|group| wanted.is_none_or(|name| name == *group));
    let (topics, groups_wanted): (Vec<_>, Vec<_>) = (topics.collect(), groups_wanted.collect());
    if let (Some(name), true) = (wanted, topics.is_empty() && groups_wanted.is_empty()) {
        let known: Vec<&str> = groups.into_iter().chain(Topic::ALL.map(Topic::name)).collect();
        return Err(unknown(name, &known));
    }
    for topic in topics {
        say!("# wording/{}.toml\n[topics.{}]", language.code(), topic.name());
        say!("# Each text may use, such as:");
        for (variable, examples) in wording.variables(language, topic) {
            say!("#   {variable}: {}", examples.join(" | "));
        }
        print_keys(wording, language, &format!("topics.{}.", topic.name()));
    }
    for group in groups_wanted {
        say!("# wording/{}.toml\n[{group}]", language.code());
        say!("# A text may use {}.", wording.variables_of(group).join(", "));
        print_keys(wording, language, &format!("{group}."));
    }
    Ok(())
}

fn print_keys(wording: &Wording, language: Language, prefix: &str) {
    for (key, template) in wording.templates(language, prefix) {
        say!("{} = {}", key.trim_start_matches(prefix), toml::Value::String(template));
    }
    say!("");
}

fn unknown(name: &str, known: &[&str]) -> Failure {
    let near = furrowbell_config::nearest_word(name, known);
    let advice = near.map_or_else(
        || format!("there are {}", known.join(", ")),
        |near| format!("did you mean {near}?"),
    );
    Failure::Fault(format!("no texts are called \"{name}\"; {advice}"))
}

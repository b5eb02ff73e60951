//! What the parser refuses, in our words: what happened, what was kept, what to do.

use clap::{
    CommandFactory, Error,
    error::{ContextKind, ContextValue, ErrorKind},
};

use super::Words;
use crate::trouble::{InWords, short};

/// What the parser could not take, in words; `args` are the words it was given.
pub fn refused(error: &Error, args: &[String]) -> InWords {
    let named = |kind| match error.get(kind) {
        Some(ContextValue::String(text)) => text.clone(),
        Some(ContextValue::Strings(texts)) => texts.join(", "),
        _ => String::new(),
    };
    let argument = short(&named(ContextKind::InvalidArg));
    let value = named(ContextKind::InvalidValue);
    let what = match error.kind() {
        ErrorKind::InvalidSubcommand => {
            format!("there is no command `{}`", short(&named(ContextKind::InvalidSubcommand)))
        }
        ErrorKind::UnknownArgument => format!("`{argument}` is not understood here"),
        ErrorKind::MissingRequiredArgument => format!("{argument} is missing"),
        ErrorKind::InvalidValue if value.is_empty() => format!("{argument} needs a value"),
        ErrorKind::InvalidValue => format!("{argument} cannot be `{}`", short(&value)),
        ErrorKind::ValueValidation => {
            let why = reason(error)
                .filter(|why| !why.starts_with(HINT))
                .map_or(String::new(), |why| format!(": {why}"));
            format!("{argument} cannot be `{}`{why}", short(&value))
        }
        ErrorKind::ArgumentConflict => format!("{argument} may be said only once"),
        _ => {
            let text = error.to_string();
            text.lines().next().unwrap_or_default().trim_start_matches("error: ").to_owned()
        }
    };
    InWords { what, kept: "nothing was changed".into(), next: next(error, args), code: 1 }
}

/// Our own readers of values say what to do.
const HINT: &str = "write ";

/// What the reader of a value said against it.
fn reason(error: &Error) -> Option<String> {
    std::error::Error::source(error).map(ToString::to_string)
}

/// Which command was meant: the first word that names one and is no value of an option before it, as a farm called `demo` is.
fn command<'a>(words: &clap::Command, args: &'a [String]) -> Option<&'a String> {
    let takes_value = |arg: &str| {
        let mut options = words.get_arguments().filter(|own| own.get_action().takes_values());
        options.any(|own| own.get_long().is_some_and(|long| arg.strip_prefix("--") == Some(long)))
    };
    let mut before = "";
    args.iter().skip(1).find(|arg| {
        let is_value = takes_value(before);
        before = arg;
        !is_value && words.get_subcommands().any(|one| one.get_name() == **arg)
    })
}

fn next(error: &Error, args: &[String]) -> String {
    let words = Words::command();
    let command = command(&words, args);
    let help = match command {
        Some(command) => format!("`cowpath {command} --help` shows what can be said"),
        None => "`cowpath --help` shows what can be said".to_owned(),
    };
    let list = |kind| match error.get(kind) {
        Some(ContextValue::String(text)) => vec![text.clone()],
        Some(ContextValue::Strings(texts)) => texts.clone(),
        _ => Vec::new(),
    };
    let meant = [list(ContextKind::SuggestedSubcommand), list(ContextKind::SuggestedArg)].concat();
    let may_be = list(ContextKind::ValidValue);
    if let Some(hint) = reason(error).filter(|why| why.starts_with(HINT)) {
        hint
    } else if let Some(meant) = meant.last() {
        // The parser names the likest one last.
        format!("say `{meant}` if that was meant; {help}")
    } else if !may_be.is_empty() {
        format!("take one of {}", may_be.join(", "))
    } else {
        help
    }
}

/// An instant as `--now` takes it.
pub fn instant(words: &str) -> Result<jiff::Timestamp, String> {
    words
        .trim()
        .parse()
        .map_err(|_| "write a time with its offset, like 2026-03-02T05:30:00-05:00".to_owned())
}

/// A day of the calendar.
pub fn day(words: &str) -> Result<jiff::civil::Date, String> {
    words.trim().parse().map_err(|_| "write a day like 2026-03-02".to_owned())
}

#[cfg(test)]
mod tests;

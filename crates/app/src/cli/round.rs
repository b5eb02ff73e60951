//! `cowpath round`: who needs a person now.

use std::{io::Write, process::ExitCode};

use clap::Args;

use super::{Context, Format, show};
use crate::ask::{
    answered::{self, Told},
    farm, found, round, rounding, view,
};

/// Today's round: who needs a person, for what, how sure that is, and what to do
///
/// Rests only on what was known at its time: rows that had ended by then.
///
/// Example: cowpath round --at 2026-03-02T05:30
#[derive(Debug, Args)]
pub struct Round {
    /// The time it is made for; without it the time of the newest row
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// How it is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Round {
    /// Prints the round.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let mut barn = context.barn()?;
        let zone = barn.ways()?.zone;
        let at = self.at.as_deref().map(|words| farm::time(words, &zone)).transpose()?;
        let round = match view::at(&barn, at)? {
            Some(view) => {
                let round = rounding::of_view(&barn, &view)?;
                // Kept for the next time; a farm that is being written goes without.
                let _ = view.keep(&mut barn);
                let json = serde_json::to_string(&round)?;
                let _ = barn.store.if_free(|store| store.keep_round(view.at, &round.model, &json));
                let _ = found::keep_shown(&mut barn.store, view.at, at.is_none(), &round);
                let told = Told::read(&barn.store, view.at, at)?;
                let round = answered::joined(round, &told, view.at, &zone);
                let round = answered::with_past(round, &barn.store, &told, view.at, &zone)?;
                // The program ends with this: to give back a large herd's view piece by piece takes longer than all that is left.
                std::mem::forget(view);
                round
            }
            None => rounding::round(&barn, at, context.now)?,
        };
        print(&round, self.format)?;
        Ok(ExitCode::SUCCESS)
    }
}

/// Prints a round.
pub fn print(round: &round::Round, format: Format) -> anyhow::Result<()> {
    match format {
        Format::Json => show::json(round),
        Format::Csv => show::csv(
            &[
                "id",
                "urgency",
                "place",
                "subject",
                "animal",
                "box",
                "quarter",
                "cause",
                "probability",
                "since",
                "sentence",
                "do",
            ],
            round.calls.iter().map(|call| {
                vec![
                    show::guarded(&call.id),
                    call.urgency.into(),
                    show::guarded(&call.place),
                    call.subject.into(),
                    show::guarded(call.animal.as_deref().unwrap_or_default()),
                    show::guarded(call.box_name.as_deref().unwrap_or_default()),
                    call.quarter.unwrap_or_default().into(),
                    call.cause.into(),
                    call.probability.to_string(),
                    call.since.clone(),
                    show::guarded(&call.sentence),
                    show::guarded(&call.action),
                ]
            }),
        ),
        Format::Text => text(round),
    }
}

fn text(round: &round::Round) -> anyhow::Result<()> {
    let mut out = show::out();
    match &*round.farm {
        "" => writeln!(out, "Round, {}", round.at_words)?,
        farm => writeln!(out, "Round, {}: {}", round.at_words, show::plain(farm))?,
    }
    writeln!(out, "{}", round.summary)?;
    let mut cautions: Vec<&String> = Vec::new();
    for place in &round.places {
        writeln!(out, "\n{}", show::plain(&place.name))?;
        for call in place.calls.iter().filter_map(|index| round.calls.get(*index)) {
            writeln!(out, "  [{}] {}", call.urgency, show::plain(&call.sentence))?;
            writeln!(out, "        {}", show::plain(&call.action))?;
            writeln!(out, "        {}", show::plain(&call.why))?;
            let found = call.found.as_ref().map_or("", |found| found.words.as_str());
            for said in [call.asked.as_str(), found].into_iter().filter(|said| !said.is_empty()) {
                writeln!(out, "        {}", show::plain(said))?;
            }
            for caution in &call.cautions {
                if !cautions.contains(&caution) {
                    cautions.push(caution);
                }
            }
        }
    }
    if !round.open.is_empty() {
        writeln!(out, "\nWithout an answer")?;
        for open in &round.open {
            writeln!(out, "  {}", show::plain(&open.sentence))?;
            writeln!(out, "        {}", show::plain(&open.asked))?;
        }
    }
    if !round.looked_at.is_empty() {
        writeln!(out, "\nLooked at")?;
        for call in round.looked_at.iter().filter_map(|index| round.calls.get(*index)) {
            writeln!(out, "  {}", show::plain(&call.sentence))?;
            if let Some(found) = &call.found {
                writeln!(out, "        {}", show::plain(&found.words))?;
            }
        }
    }
    if !cautions.is_empty() {
        writeln!(out)?;
    }
    // Once each: a caution said eight times is read by nobody.
    for caution in cautions {
        writeln!(out, "! {caution}")?;
    }
    for note in &round.notes {
        writeln!(out, "\n{note}")?;
    }
    let mut reasons: std::collections::BTreeMap<&str, Vec<&str>> = std::collections::BTreeMap::new();
    for not in &round.quiet.not_judged {
        reasons.entry(&not.why).or_default().push(&not.animal);
    }
    if !reasons.is_empty() {
        writeln!(out, "\nNot judged")?;
        for (why, animals) in reasons {
            writeln!(out, "  {}: {why}", show::plain(&animals.join(", ")))?;
        }
    }
    out.flush()?;
    Ok(())
}

//! `cowpath bring-in`: whom to bring to the boxes now, and who comes by herself by when.

use std::{io::Write, process::ExitCode};

use clap::Args;
use cowpath_core::{
    say::number,
    units::{Kilograms, UnitSystem},
};

use super::{Context, Format, show};
use crate::ask::{
    bring_in::{BringIn, Waits},
    bringing, farm, memories, rounding, view,
};
use crate::trouble::user;

/// Whom to bring in now, in which order, and who will come by herself by when
///
/// A cow is brought in when she is past her limit (`cowpath settings --limits`) and unlikely to come in time. Rests only
/// on what was known at its time: rows that had ended by then.
///
/// Example: cowpath bring-in --at 2026-03-02T05:30
#[derive(Debug, Args)]
pub struct BringInCommand {
    /// The time it is made for; without it the time of the newest row
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// How it is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl BringInCommand {
    /// Prints the list.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let mut barn = context.barn()?;
        let ways = barn.ways()?;
        let at = self.at.as_deref().map(|words| farm::time(words, &ways.zone)).transpose()?;
        let Some(view) = view::at(&barn, at)? else {
            return Err(user(
                "no rows have been read yet, so nobody is known to be in milk",
                "nothing was changed",
                "read the logs of your boxes first: `cowpath import FILE...`",
            ));
        };
        let round = rounding::of_view(&barn, &view)?;
        let list = bringing::of_view(&barn, &view, &round)?;
        // Kept for the next time; a farm that is being written goes without.
        let _ = memories::keep(&mut barn, &view.cast, &ways.zone, &view.rolled);
        let _ = view.keep_fits(&mut barn);
        match self.format {
            Format::Json => show::json(&list)?,
            Format::Csv => csv(&list, ways.units)?,
            Format::Text => text(&list)?,
        }
        Ok(ExitCode::SUCCESS)
    }
}

fn csv(list: &BringIn, units: UnitSystem) -> anyhow::Result<()> {
    let unit = format!("expected_{}", number::mass_unit(units));
    let header = [
        "list",
        "place",
        "from",
        "animal",
        "since",
        "hours",
        "limit_h",
        "limit_why",
        &unit,
        "alone_2h",
        "alone_4h",
        "alone_8h",
        "by",
        "done",
        "sentence",
    ];
    let cow = |list: &str, from: &str, cow: &Waits, done: &str, sentence: &str| {
        let kg = |kg: f64| number::mass_figure(Kilograms(kg), units);
        vec![
            list.to_owned(),
            show::guarded(&cow.place),
            from.to_owned(),
            show::guarded(&cow.animal),
            cow.since.clone(),
            format!("{:.2}", cow.hours),
            format!("{:.2}", cow.limit_h),
            cow.limit_why.to_owned(),
            cow.expected_kg.map_or(String::new(), kg),
            cow.alone_2h.to_string(),
            cow.alone_4h.to_string(),
            cow.alone_8h.to_string(),
            cow.by.clone().unwrap_or_default(),
            done.to_owned(),
            show::guarded(sentence),
        ]
    };
    let bring = list.bring.iter().map(|own| {
        let done = own.done.as_ref().map_or("", |done| done.at.as_str());
        cow("bring", &own.from, &own.cow, done, &own.sentence)
    });
    let missing = list.missing.iter().map(|own| {
        let mut row = vec![String::new(); header.len()];
        (row[0], row[1], row[3]) = ("missing".into(), show::guarded(&own.place), show::guarded(&own.animal));
        row[4] = own.seen.clone().unwrap_or_default();
        row[14] = show::guarded(&own.sentence);
        row
    });
    let rest = list.rest.iter().map(|own| cow("rest", "", &own.cow, "", ""));
    show::csv(&header, bring.chain(missing).chain(rest))
}

fn text(list: &BringIn) -> anyhow::Result<()> {
    let mut out = show::out();
    match &*list.farm {
        "" => writeln!(out, "Bring in, {}", list.at_words)?,
        farm => writeln!(out, "Bring in, {}: {}", list.at_words, show::plain(farm))?,
    }
    writeln!(out, "{}", list.summary)?;
    if !list.missing.is_empty() {
        writeln!(out, "\nLook for")?;
        for own in &list.missing {
            writeln!(out, "  {} ({})", show::plain(&own.sentence), show::plain(&own.place))?;
        }
    }
    let mut before = None;
    for own in &list.bring {
        let heading = (own.cow.place.as_str(), own.from_words.as_str());
        if before != Some(heading) {
            writeln!(out, "\n{}, {}", show::plain(heading.0), heading.1)?;
            before = Some(heading);
        }
        writeln!(out, "  {}", show::plain(&own.sentence))?;
        writeln!(out, "        {}", show::plain(&own.reasons.join("; ")))?;
        if let Some(call) = &own.call {
            writeln!(out, "        On the round: {}", show::plain(call))?;
        }
        if let Some(done) = &own.done {
            writeln!(out, "        {}", show::plain(&done.words))?;
        }
    }
    if !list.by_hour.is_empty() {
        writeln!(out, "\nBy themselves, with a chance of eight in ten")?;
        for hour in &list.by_hour {
            writeln!(out, "  {}: {}", hour.words, show::plain(&hour.animals.join(", ")))?;
        }
    }
    if !list.bring.is_empty() {
        writeln!(out)?;
        for caution in &list.cautions {
            writeln!(out, "! {caution}")?;
        }
    }
    for note in &list.notes {
        writeln!(out, "\n{note}")?;
    }
    out.flush()?;
    Ok(())
}

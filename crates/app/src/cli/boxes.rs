//! `cowpath boxes`: where each box's minutes went.

use std::{io::Write, process::ExitCode};

use clap::Args;
use cowpath_core::{
    say::number,
    units::{Kilograms, UnitSystem},
};
use jiff::civil::Date;

use super::{Context, Format, show};
use crate::ask::{
    box_minutes::{AskedMinutes, BoxMinutes},
    meters, minute_rows,
};
use crate::trouble::{short, user};

/// Where each box's minutes went: the ledger of a span of farm days
///
/// Each day of a box is split without remainder: 86,400 seconds, or 82,800 and 90,000 where the clock was changed. Rows
/// that claim the same time and stretches without any row are named.
///
/// Example: cowpath boxes --from 2026-03-01 --to 2026-03-07
#[derive(Debug, Args)]
pub struct BoxesCommand {
    /// First farm day; without it, six days before the last
    #[arg(long, value_name = "DAY")]
    from: Option<String>,
    /// Last farm day; without it, the last that is over
    #[arg(long, value_name = "DAY")]
    to: Option<String>,
    /// How it is printed; CSV has a row a box and day
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// A farm day as a person types it.
fn day(words: &str) -> anyhow::Result<Date> {
    words.trim().parse::<Date>().ok().filter(|day| (1900..2200).contains(&day.year())).ok_or_else(|| {
        user(format!("`{}` is not a day", short(words)), "nothing was changed", "write it like 2026-03-02")
    })
}

impl BoxesCommand {
    /// Prints the ledger.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let barn = context.barn()?;
        let asked = AskedMinutes {
            from: self.from.as_deref().map(day).transpose()?,
            to: self.to.as_deref().map(day).transpose()?,
            metric: self.format == Format::Json,
        };
        let mut told = minute_rows::box_minutes(&barn, &asked, context.now)?;
        told.doubt(&meters::newest(&barn)?)?;
        match self.format {
            Format::Json => show::json(&told)?,
            Format::Csv => csv(&told, barn.ways()?.units)?,
            Format::Text => text(&told)?,
        }
        Ok(ExitCode::SUCCESS)
    }
}

fn csv(told: &BoxMinutes, units: UnitSystem) -> anyhow::Result<()> {
    let milk = format!("milk_{}", number::mass_unit(units));
    let header = [
        "box",
        "date",
        "day_s",
        "handling_s",
        "milk_flow_s",
        "last_quarter_s",
        "incomplete_s",
        "turned_away_s",
        "fed_only_s",
        "failed_s",
        "cleaning_s",
        "service_s",
        "fault_s",
        "off_s",
        "idle_s",
        "milkings",
        &milk,
    ];
    let rows = told.days.iter().map(|day| {
        let mut row = vec![show::guarded(&day.name), day.date.clone(), day.day_s.to_string()];
        row.extend(day.seconds.named().iter().map(|(_, seconds)| seconds.to_string()));
        row.push(day.milkings.to_string());
        row.push(day.milk_kg.map_or(String::new(), |kg| number::mass_figure(Kilograms(kg), units)));
        row
    });
    show::csv(&header, rows)
}

fn text(told: &BoxMinutes) -> anyhow::Result<()> {
    let mut out = show::out();
    match &*told.farm {
        "" => writeln!(out, "Box minutes, {} to {}", told.from, told.to)?,
        farm => writeln!(out, "Box minutes, {} to {}: {}", told.from, told.to, show::plain(farm))?,
    }
    writeln!(out, "{}", told.summary)?;
    if !told.trend.is_empty() {
        writeln!(out, "{}", told.trend)?;
    }
    for day in &told.days {
        writeln!(out, "\nBox {}, {}", show::plain(&day.name), day.date)?;
        writeln!(out, "  {}", day.words)?;
        for shared in &day.shared {
            writeln!(out, "  Claimed twice: {}", show::plain(&shared.words))?;
        }
        for gap in day.gaps.iter().filter(|_| day.seen) {
            writeln!(out, "  No row from {}", gap.words)?;
        }
    }
    if !told.habits.is_empty() {
        writeln!(out, "\nDearest")?;
        for habit in &told.habits {
            writeln!(out, "  {}", show::plain(&habit.sentence))?;
        }
    }
    if let Some(off) = &told.take_off {
        writeln!(out, "\nTaking cups off sooner")?;
        writeln!(out, "  {}", off.words)?;
        for quarter in &off.quarters {
            let [name, last, flows, little] = &quarter.words;
            writeln!(out, "  {name}: the last in {last}, flows for {flows}, {little}")?;
        }
        for level in &off.levels {
            let [at, visit, left, a_day] = &level.words;
            writeln!(
                out,
                "  at {at}: a visit {visit} shorter, {left} left, {a_day} a box and day ({})",
                level.trial
            )?;
        }
    }
    for note in &told.notes {
        writeln!(out, "\n{note}")?;
    }
    out.flush()?;
    Ok(())
}

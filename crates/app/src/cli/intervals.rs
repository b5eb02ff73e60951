//! `cowpath intervals`: how box minutes are best used.

use std::{io::Write, process::ExitCode};

use clap::Args;
use cowpath_core::{
    say::{self, number},
    units::{Kilograms, UnitSystem},
};

use super::{Context, Format, show};
use crate::ask::{
    farm,
    intervals::{AskedIntervals, Intervals},
    memories, settling, view,
};
use crate::trouble::user;

/// How box minutes are best used: each cow's interval, its milk and minutes, and the worth of a box minute
///
/// Chosen within the farm's limits so that milk less feed is worth most; prices, limits and the idle reserve are the farm's
/// terms (`cowpath settings --terms`). Rests only on what was known at its time.
///
/// Example: cowpath intervals --box-minutes 2600
#[derive(Debug, Args)]
pub struct IntervalsCommand {
    /// Box minutes a day for milking, all boxes together; without it what they have, less the idle reserve
    #[arg(long, value_name = "M", allow_negative_numbers = true)]
    box_minutes: Option<f64>,
    /// Other terms, tried and not kept, written as `cowpath settings --terms` takes them
    #[arg(long = "try", value_name = "TERMS")]
    only_try: Option<String>,
    /// The time it is made for; without it the time of the newest row
    #[arg(long, value_name = "TIME")]
    at: Option<String>,
    /// How it is printed; CSV has a row a cow
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl IntervalsCommand {
    /// Prints the answer.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let mut barn = context.barn()?;
        let ways = barn.ways()?;
        let at = self.at.as_deref().map(|words| farm::time(words, &ways.zone)).transpose()?;
        let kept = barn.store.settings()?.terms;
        let terms = self.only_try.as_deref().map(|words| kept.with(words)).transpose().map_err(|why| {
            user(why, "nothing was changed", "write terms like \"milk=0.45 feed=0.12 idle=10 later=4/6/8\"")
        })?;
        let asked =
            AskedIntervals { box_minutes: self.box_minutes, terms, metric: self.format == Format::Json };
        let answer = match view::at(&barn, at)? {
            Some(view) => {
                let answer = settling::of_view(&barn, &view, &asked)?;
                // Kept for the next time; a farm that is being written goes without.
                let _ = memories::keep(&mut barn, &view.cast, &ways.zone, &view.rolled);
                answer
            }
            None => settling::nothing(ways.name.clone(), asked.terms.unwrap_or(kept)),
        };
        match self.format {
            Format::Json => show::json(&answer)?,
            Format::Csv => csv(&answer, ways.units)?,
            Format::Text => text(&answer)?,
        }
        Ok(ExitCode::SUCCESS)
    }
}

fn csv(answer: &Intervals, units: UnitSystem) -> anyhow::Result<()> {
    let unit = number::mass_unit(units);
    let (milk, expected, now) = (format!("milk_{unit}"), format!("expected_{unit}"), format!("now_{unit}"));
    let header = [
        "animal",
        "group",
        "interval_h",
        "low90_h",
        "high90_h",
        "limit",
        &milk,
        "minutes",
        &expected,
        "now_h",
        &now,
        "now_minutes",
    ];
    let mass = |kg: f64| number::mass_figure(Kilograms(kg), units);
    let rows = answer.cows.iter().map(|cow| {
        vec![
            show::guarded(&cow.animal),
            cow.group.clone(),
            format!("{:.2}", cow.interval_h),
            format!("{:.2}", cow.low90_h),
            format!("{:.2}", cow.high90_h),
            cow.limit.to_owned(),
            mass(cow.milk_kg),
            format!("{:.2}", cow.minutes),
            mass(cow.expected_kg),
            format!("{:.2}", cow.now_h),
            mass(cow.now_kg),
            format!("{:.2}", cow.now_minutes),
        ]
    });
    show::csv(&header, rows)
}

fn text(answer: &Intervals) -> anyhow::Result<()> {
    let mut out = show::out();
    match &*answer.farm {
        _ if answer.at.is_empty() => {}
        "" => writeln!(out, "Intervals, {}", answer.at_words)?,
        farm => writeln!(out, "Intervals, {}: {}", answer.at_words, show::plain(farm))?,
    }
    writeln!(out, "{}", answer.summary)?;
    if !answer.minutes.words.is_empty() {
        writeln!(out, "{}", answer.minutes.words)?;
    }
    if !answer.groups.is_empty() {
        writeln!(
            out,
            "\nBy group: mean interval then; to type in: shortest interval, or milk expected at it; mean interval now"
        )?;
        for group in &answer.groups {
            let [mean, shortest, milk, now] = &group.words;
            let name = format!("{} ({})", group.group, group.days_words);
            writeln!(
                out,
                "  {name:<42} {:>4} cows  {mean:>7}  {shortest:>7}  {milk:>8}  {now:>7}",
                group.cows
            )?;
        }
    }
    for (head, change) in [("each cow", &answer.change), ("each group", &answer.change_by_group)] {
        if let Some(change) = change {
            writeln!(out, "\nIf {head} has its interval: {}", change.verdict)?;
            let interval = if change.enough_days { " (90 % interval)" } else { "" };
            writeln!(out, "What changes a day{interval}")?;
            for (what, words) in &change.words {
                writeln!(out, "  {what}: {words}")?;
            }
        }
    }
    if let Some(least) = &answer.least_profitable {
        writeln!(out, "\n{}", show::plain(&least.words))?;
    }
    if !answer.cows.is_empty() {
        writeln!(out, "\nBy cow: interval (90 %), milk expected, now, change of milk, box minutes")?;
        for cow in &answer.cows {
            let [interval, expected, now, change, minutes] = &cow.words;
            writeln!(
                out,
                "  {:<8} {interval:>7} ({:.1} to {:.1})  {expected:>8}  {now:>7}  {change:>8}  {minutes:>5}",
                show::plain(&cow.animal),
                cow.low90_h,
                cow.high90_h
            )?;
        }
    }
    for left in &answer.left_out {
        writeln!(out, "  {} is left out: {}", show::plain(&left.animal), left.why)?;
    }
    if !answer.cautions.is_empty() {
        writeln!(out)?;
    }
    for caution in &answer.cautions {
        writeln!(out, "! {caution}")?;
    }
    for note in &answer.notes {
        writeln!(out, "\n{note}")?;
    }
    if !answer.groups.is_empty()
        && let Some(words) = say::plan::stated_prices(&answer.terms)
    {
        writeln!(
            out,
            "\n{words} Set yours: `cowpath settings --terms \"milk=0.45 feed=0.12 labour=0.40 box=60\"`"
        )?;
    }
    out.flush()?;
    Ok(())
}

//! `cowpath costs`: what a case and a look cost, and how the newest list would change with other figures.

use std::{io::Write, process::ExitCode};

use clap::{Args, Subcommand};
use cowpath_core::{
    causes::costs::{OwnCost, OwnCosts},
    say::learned as words,
};

use super::{Context, Format, show};
use crate::ask::{
    costs::{self, Change, ChangedCall, Costs as Told},
    farm::Barn,
    learned, view,
};

/// What a case and a look cost: they decide whether a call is shown and how soon
///
/// What the farm has not set stands as stated, with its source and the year of its money. Nothing is converted.
///
/// Example: cowpath costs set udder --case 520 --year 2026 --try
#[derive(Debug, Args)]
#[command(args_conflicts_with_subcommands = true)]
pub struct Costs {
    #[command(subcommand)]
    act: Option<Act>,
    /// Takes all the farm's own figures out of force; they stay on record
    #[arg(long)]
    reset: bool,
    /// How they are printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

#[derive(Debug, Subcommand)]
enum Act {
    Set(Set),
    Limits(Limits),
}

/// Sets figures of one cause; those that are not named stay as they are
///
/// Example: cowpath costs set udder --case 520 --year 2026
#[derive(Debug, Args)]
struct Set {
    /// The cause: udder, heat, metabolic, gut, feet, fever, unclear, or one of a box or the herd
    #[arg(value_name = "CAUSE")]
    cause: String,
    /// What a case costs
    #[arg(long, value_name = "MONEY")]
    case: Option<f64>,
    /// Share of it that a look now saves against being found late, 0 to 1
    #[arg(long, value_name = "SHARE")]
    saved: Option<f64>,
    /// What a proper look costs
    #[arg(long, value_name = "MONEY")]
    look: Option<f64>,
    /// What a look in passing costs
    #[arg(long, value_name = "MONEY")]
    glance: Option<f64>,
    /// Hours in which the saving is lost
    #[arg(long, value_name = "HOURS")]
    hours: Option<f64>,
    /// Currency of the row, three letters; then case, look and glance are all to be given
    #[arg(long, value_name = "CODE")]
    currency: Option<String>,
    /// Money of which year; without it this year's, where the case is set
    #[arg(long, value_name = "YEAR")]
    year: Option<u16>,
    /// The stated figures of this cause again
    #[arg(long, conflicts_with_all = ["case", "saved", "look", "glance", "hours", "currency", "year"])]
    stated: bool,
    /// Shows how the newest list would change, and keeps nothing
    #[arg(long = "try")]
    only_try: bool,
    /// How it is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

/// Sets what holds for all causes
///
/// Example: cowpath costs limits --most-calls 8
#[derive(Debug, Args)]
struct Limits {
    /// Calls you can take in a day; those that need a person now are never cut
    #[arg(long, value_name = "CALLS")]
    most_calls: Option<u32>,
    /// What being sent out at once for one cow costs
    #[arg(long, value_name = "MONEY")]
    errand: Option<f64>,
    /// Longest wait until the next walk, hours
    #[arg(long, value_name = "HOURS")]
    walk_hours: Option<f64>,
    /// Shows how the newest list would change, and keeps nothing
    #[arg(long = "try")]
    only_try: bool,
    /// How it is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl Costs {
    /// Lists, sets or resets.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        match &self.act {
            Some(Act::Set(set)) => set.run(context),
            Some(Act::Limits(limits)) => limits.run(context),
            None => {
                let mut barn = context.barn()?;
                let told = if self.reset {
                    costs::keep(&mut barn, OwnCosts::default(), context.now)?
                } else {
                    costs::costs(&barn, context.now)?
                };
                print(&told, self.format)?;
                Ok(ExitCode::SUCCESS)
            }
        }
    }
}

impl Set {
    fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let cause = costs::cause(&self.cause)?;
        change(context, self.only_try, self.format, |own| {
            if self.stated {
                own.costs.remove(&cause);
                return;
            }
            let row = own.costs.entry(cause).or_insert_with(OwnCost::default);
            row.case = self.case.or(row.case);
            row.saved = self.saved.or(row.saved);
            row.look = self.look.or(row.look);
            row.glance = self.glance.or(row.glance);
            row.hours = self.hours.or(row.hours);
            row.currency = self.currency.clone().or(row.currency.take());
            // A new case is of this year's money unless it is said.
            row.year = self.year.or(if self.case.is_some() { None } else { row.year });
        })
    }
}

impl Limits {
    fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        change(context, self.only_try, self.format, |own| {
            own.most_calls_a_day = self.most_calls.or(own.most_calls_a_day);
            own.errand = self.errand.or(own.errand);
            own.walk_hours = self.walk_hours.or(own.walk_hours);
        })
    }
}

fn change(
    context: &Context,
    only_try: bool,
    format: Format,
    edit: impl FnOnce(&mut OwnCosts),
) -> anyhow::Result<ExitCode> {
    let mut barn = context.barn()?;
    let mut own = learned::own_costs(&barn.store)?;
    edit(&mut own);
    if only_try {
        print_change(&tried(&barn, own, context)?, format)?;
    } else {
        print(&costs::keep(&mut barn, own, context.now)?, format)?;
    }
    Ok(ExitCode::SUCCESS)
}

fn tried(barn: &Barn, own: OwnCosts, context: &Context) -> anyhow::Result<Change> {
    let own = costs::checked(own, barn.ways()?.zone.to_datetime(context.now).year())?;
    match view::at(barn, None)? {
        Some(view) => costs::change(barn, &view, &own),
        None => Ok(costs::no_change()),
    }
}

fn print(told: &Told, format: Format) -> anyhow::Result<()> {
    match format {
        Format::Json => show::json(told),
        Format::Csv => show::csv(
            &["cause", "case", "saved", "look", "glance", "hours", "currency", "year", "own", "source"],
            told.causes.iter().map(|row| {
                vec![
                    row.cause.into(),
                    row.case.to_string(),
                    row.saved.to_string(),
                    row.look.to_string(),
                    row.glance.to_string(),
                    row.hours.to_string(),
                    row.currency.clone(),
                    row.year.to_string(),
                    row.own.join(" "),
                    show::guarded(&row.source),
                ]
            }),
        ),
        Format::Text => {
            let mut out = show::out();
            for note in &told.notes {
                writeln!(out, "{note}")?;
            }
            for row in &told.causes {
                let own = if row.own.is_empty() {
                    String::new()
                } else {
                    format!("; the farm's own: {}", row.own.join(", "))
                };
                writeln!(out, "{}: {}", row.cause, row.words)?;
                writeln!(out, "    stated: {}{own}", row.source)?;
            }
            writeln!(
                out,
                "At most {} calls a day, those for now beside; being sent out for one cow costs {}; the longest wait for the next walk is {} h",
                told.most_calls_a_day,
                words::figure(told.errand),
                words::figure(told.walk_hours)
            )?;
            writeln!(out, "In force: {}", told.version_words)?;
            out.flush()?;
            Ok(())
        }
    }
}

fn print_change(change: &Change, format: Format) -> anyhow::Result<()> {
    let all = [
        ("comes", &change.comes),
        ("goes", &change.goes),
        ("moves", &change.moves),
        ("stays", &change.stays),
    ];
    match format {
        Format::Json => show::json(change),
        Format::Csv => show::csv(
            &["what", "id", "before", "after", "sentence"],
            all.iter().flat_map(|(what, calls)| calls.iter().map(move |call| line(what, call))),
        ),
        Format::Text => {
            let mut out = show::out();
            writeln!(out, "{}", change.summary)?;
            for (what, calls) in all {
                for call in calls {
                    let (before, after) =
                        (costs::urgency_words(call.before), costs::urgency_words(call.after));
                    writeln!(out, "  {what}, {before} → {after}: {}", show::plain(&call.sentence))?;
                }
            }
            writeln!(out, "Nothing was kept: leave --try out to keep it.")?;
            out.flush()?;
            Ok(())
        }
    }
}

fn line(what: &str, call: &ChangedCall) -> Vec<String> {
    vec![
        what.into(),
        show::guarded(&call.id),
        call.before.into(),
        call.after.into(),
        show::guarded(&call.sentence),
    ]
}

//! `cowpath plan`: what would happen at the boxes, with other cows, boxes, hours and limits.

use std::{io::Write, process::ExitCode, sync::atomic::AtomicBool, thread};

use clap::Args;
use cowpath_core::{
    say::{number, plan as say},
    traffic::{Bounds, Figure},
};

use super::{Context, Format, show};
use crate::ask::{
    farm::Barn,
    meters,
    plan::{AskedPlan, Plan},
    plan_ground::{self, Beside},
    plan_parlour, plan_sizes,
    planning::{self, Ground},
};
use crate::trouble::user;

/// What would happen at the boxes: more cows, another box, other hours, other limits
///
/// The pens are simulated, visit by visit, on the same chance for every scenario: as the farm's logs tell of its cows, or
/// on stated defaults. Figures are means of replicates with their 95 % intervals.
///
/// A scenario is written in words: boxes=3 milk=34 visit=7 fetch=6/14/22 feed=8/16 pushes=6/10/14/18 shortest=5/7/9
/// shortest=+1 kg=9 longest=12 patience=60 traffic=guided fresh-pen=30/1 fails=3 cleanings=4/12/20
///
/// Example: cowpath plan --cows 100-160/10 --boxes 2 --instead boxes=3
#[derive(Debug, Args)]
pub struct PlanCommand {
    /// Herd sizes: 60,90,120 or 60-180/10
    #[arg(
        long,
        value_name = "LIST",
        required_unless_present = "foretell",
        default_value = "",
        hide_default_value = true
    )]
    cows: String,
    /// Boxes; without it the farm's own
    #[arg(long, value_name = "N")]
    boxes: Option<usize>,
    /// What else of the farm is to be another, in words
    #[arg(long = "with", value_name = "WORDS", default_value = "", hide_default_value = true)]
    with: String,
    /// A second scenario: what is to be another beside that, in words
    #[arg(long, value_name = "WORDS")]
    instead: Option<String>,
    /// Exactly so many replicates; without it until the answer is sure enough, 40 at most
    #[arg(long, value_name = "R")]
    replicates: Option<u32>,
    /// Where chance begins: the same seed gives the same answer
    #[arg(long, value_name = "S", default_value_t = 1)]
    seed: u64,
    /// Days of a replicate that count
    #[arg(long, value_name = "DAYS", default_value_t = 60.0)]
    days: f64,
    /// The parlour that the boxes replace: 2 or 3 milkings a day, or its hours, as in 5/17
    #[arg(long, value_name = "TIMES", default_value = "")]
    parlour: String,
    /// Other terms (prices, idle share), tried and not kept, written as `cowpath settings --terms` takes them
    #[arg(long = "try", value_name = "TERMS")]
    only_try: Option<String>,
    /// Instead of a plan: fits the days before the last DAYS and holds the pens beside these last days
    #[arg(long, value_name = "DAYS", value_parser = clap::value_parser!(u32).range(7..=366), conflicts_with_all = ["cows", "boxes", "instead", "stated"])]
    foretell: Option<u32>,
    /// Stated defaults, whatever the farm's logs say
    #[arg(long)]
    stated: bool,
    /// How it is printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

impl PlanCommand {
    /// Reckons and prints it.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        if let Some(days) = self.foretell {
            return self.foretold(context, days);
        }
        let ground = self.ground(context)?;
        let asked = self.asked(&ground)?;
        let prepared = planning::prepare(&ground, &asked)?;
        let threads = thread::available_parallelism().map_or(1, usize::from);
        let plan = prepared.run(threads, &AtomicBool::new(false), &mut |_| {});
        let Some(plan) = plan else { anyhow::bail!("a plan that nobody stopped has stopped") };
        match self.format {
            Format::Json => show::json(&plan)?,
            Format::Csv => csv(&plan)?,
            Format::Text => text(&plan, &ground)?,
        }
        Ok(ExitCode::SUCCESS)
    }

    fn asked(&self, ground: &Ground) -> anyhow::Result<AskedPlan> {
        let nothing = "nothing was reckoned or changed";
        let mut change = planning::change(&self.with)?;
        change.boxes = self.boxes.or(change.boxes);
        let parlour = plan_parlour::read(&self.parlour)
            .map_err(|why| user(why, nothing, "write --parlour 2, --parlour 3, or its hours"))?;
        let terms = ground.terms.with(self.only_try.as_deref().unwrap_or_default()).map_err(|why| {
            user(why, nothing, "write terms like \"milk=0.45 feed=0.12 idle=10 later=4/6/8\"")
        })?;
        Ok(AskedPlan {
            cows: plan_sizes::sizes(&self.cows)
                .map_err(|why| user(why, nothing, "name fewer herd sizes with --cows, or others"))?,
            change,
            instead: self.instead.as_deref().map(planning::change).transpose()?,
            replicates: self.replicates,
            seed: self.seed,
            days: self.days,
            bounds: Bounds { idle: terms.idle, ..Bounds::default() },
            terms,
            parlour,
        })
    }

    fn foretold(&self, context: &Context, days: u32) -> anyhow::Result<ExitCode> {
        let told = plan_ground::foretold(&context.barn()?, days)?;
        let row =
            |one: &Beside| vec![one.what.to_owned(), one.observed.to_string(), one.simulated.to_string()];
        match self.format {
            Format::Json => show::json(&told)?,
            Format::Csv => show::csv(&["figure", "observed", "simulated"], told.beside.iter().map(row))?,
            Format::Text => {
                let mut out = show::out();
                let [before, after] = told.cows.map(|cows| number::plain(cows, 1));
                let days = [told.fitted_days, told.foretold_days].map(|days| number::plain(days, 0));
                writeln!(
                    out,
                    "Fitted to {} days with {before} cows, held beside the {} days after with {after} (foretold, observed)",
                    days[0], days[1]
                )?;
                beside(&mut out, &told.beside)?;
                out.flush()?;
            }
        }
        Ok(ExitCode::SUCCESS)
    }

    /// The farm as it is, where there is one.
    fn ground(&self, context: &Context) -> anyhow::Result<Ground> {
        if self.stated || (!context.farm_named && !cowpath_store::Farm::exists(&context.farm)) {
            return Ok(Ground::stated());
        }
        let barn = Barn::open(&context.farm)?;
        let mut ground = plan_ground::of(&barn)?;
        if ground.fitted {
            ground.doubt(&meters::newest(&barn)?);
        }
        Ok(ground)
    }
}

fn beside(out: &mut impl Write, all: &[Beside]) -> anyhow::Result<()> {
    for one in all {
        let [simulated, observed] = [one.simulated, one.observed].map(|figure| number::plain(figure, 2));
        writeln!(out, "  {:<30} {simulated:>8} {observed:>8}", one.what)?;
    }
    Ok(())
}

fn csv(plan: &Plan) -> anyhow::Result<()> {
    let header = ["scenario", "boxes", "cows", "figure", "mean", "low95", "high95"];
    let rows = plan.scenarios.iter().flat_map(|scenario| {
        scenario.rows.iter().flat_map(move |row| {
            let money = ("money-day", row.money);
            row.figures.iter().map(|(name, mean)| (*name, *mean)).chain([money]).map(move |(name, mean)| {
                vec![
                    scenario.name.to_owned(),
                    scenario.boxes.to_string(),
                    row.cows.to_string(),
                    name.to_owned(),
                    mean.mean.to_string(),
                    mean.low.to_string(),
                    mean.high.to_string(),
                ]
            })
        })
    });
    show::csv(&header, rows)
}

fn text(plan: &Plan, ground: &Ground) -> anyhow::Result<()> {
    let mut out = show::out();
    let farm = if plan.farm.is_empty() { String::new() } else { format!(" for {}", show::plain(&plan.farm)) };
    writeln!(out, "Plan{farm}, from {}", plan.basis)?;
    for sentence in &plan.sentences {
        writeln!(out, "{sentence}")?;
    }
    for scenario in &plan.scenarios {
        writeln!(out, "\n{}: {}", scenario.name, scenario.head())?;
        let unit =
            planning::mass(cowpath_core::traffic::Mean { mean: 1.0, low: 1.0, high: 1.0 }, ground.units).1;
        writeln!(
            out,
            "{:>6} {:>20} {:>12} {:>20} {:>18} {:>18} {:>12} {:>14}",
            "cows",
            "milkings/cow-day",
            "turned away",
            "idle %",
            format!("{unit}/box-day"),
            "min waited/cow-day",
            "fetched/day",
            format!("{}/day", plan.terms.currency)
        )?;
        for row in &scenario.rows {
            let of = |figure: Figure| row.figures[figure.word()];
            let (milk, _) = planning::mass(of(Figure::MilkBox), ground.units);
            writeln!(
                out,
                "{:>6} {:>20} {:>12} {:>20} {:>18} {:>18} {:>12} {:>14}",
                row.cows,
                say::with_interval(of(Figure::Milkings), 2),
                number::plain(of(Figure::TurnedAway).mean, 2),
                say::with_interval(of(Figure::Idle).times(100.0), 1),
                number::plain(milk.mean, 0),
                number::plain(of(Figure::Waiting).mean, 0),
                if scenario.fetched_unknown {
                    "not known".into()
                } else {
                    number::plain(of(Figure::Brought).mean * row.cows as f64, 1)
                },
                number::plain(row.money.mean, 0),
            )?;
        }
    }
    if !plan.beside.is_empty() {
        writeln!(out, "\nThe pens as fitted beside the log (simulated, observed)")?;
        beside(&mut out, &plan.beside)?;
    }
    for note in &plan.notes {
        writeln!(out, "\n! {note}")?;
    }
    writeln!(
        out,
        "\n{} replicates of {} days, seed {}. {} {}",
        plan.replicates,
        number::plain(plan.days, 0),
        plan.seed,
        say::brackets(&plan.basis),
        say::terms(&plan.terms, ground.units)
    )?;
    if let Some(words) = say::stated_prices(&plan.terms) {
        writeln!(
            out,
            "{words} Set yours: `cowpath settings --terms \"milk=0.45 feed=0.12 labour=0.40 box=60\"`"
        )?;
    }
    out.flush()?;
    Ok(())
}

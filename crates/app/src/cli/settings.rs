//! `cowpath settings`: shows and changes the settings of a farm.

use std::{io::Write, process::ExitCode};

use clap::{Args, ValueEnum};
use cowpath_core::units::UnitSystem;

use super::{Context, Format, show};
use crate::ask::{
    farm::Barn,
    ways::{self, Wanted},
};

/// Shows the settings of a farm, and changes those that are named
///
/// Example: cowpath settings --name "Hollow Ash" --zone America/Chicago --units us
#[derive(Debug, Args)]
pub struct Settings {
    /// Name of the farm
    #[arg(long)]
    name: Option<String>,
    /// Time zone, by its name in the zone database
    #[arg(long, value_name = "ZONE")]
    zone: Option<String>,
    /// Units of pages, text and CSV; JSON and the store are always metric
    #[arg(long, value_enum)]
    units: Option<Units>,
    /// Breed of the herd
    #[arg(long)]
    breed: Option<String>,
    /// Pens in the order you walk them, as the logs write them: "1,2,straw"
    #[arg(long, value_delimiter = ',', value_name = "PEN,…")]
    pens: Option<Vec<String>>,
    /// The name other programs know this farm's documents by: a domain written backwards; "" for local.cowpath
    #[arg(long, value_name = "NAME")]
    exchange_name: Option<String>,
    /// How long a cow may go unmilked before she is brought in, in hours: early/mid/late lactation "first=9/12/14
    /// later=10/12/14", last days of early and mid "days=100/200", milk in the udder "kg=16/20" (first, later),
    /// "fresh=8 fresh-day=5 treated=10 in-time=2", and "unlikely=50" per cent; those not named stay
    #[arg(long, value_name = "LIMITS")]
    limits: Option<String>,
    /// On what terms box minutes are used: money a kg of milk and of the feed it takes, a minute of work, a box a day
    /// "milk=0.45 feed=0.12 labour=0.40 box=60 currency=USD", minutes to fetch a cow "fetch=5", per cent of a box's day
    /// kept idle "idle=10", last days of early and mid "days=100/200", shortest interval in hours, early/mid/late
    /// "first=4/6/8 later=4/6/8", longest "first-longest=14/14/14 later-longest=14/14/14"; those not named stay
    #[arg(long, value_name = "TERMS")]
    terms: Option<String>,
    /// How they are printed
    #[arg(long, value_enum, default_value_t)]
    format: Format,
}

#[derive(Debug, Clone, Copy, ValueEnum)]
enum Units {
    /// kg, °C
    Metric,
    /// lb, °F
    Us,
}

impl Settings {
    /// Changes what is named, then prints all.
    pub fn run(&self, context: &Context) -> anyhow::Result<ExitCode> {
        let wanted = Wanted {
            name: self.name.clone(),
            zone: self.zone.clone(),
            units: self.units.map(|units| match units {
                Units::Metric => UnitSystem::Metric,
                Units::Us => UnitSystem::Us,
            }),
            breed: self.breed.clone(),
            pens: self.pens.clone(),
            exchange_name: self.exchange_name.clone(),
            limits: self.limits.clone(),
            terms: self.terms.clone(),
        };
        wanted.check()?;
        let mut barn = if wanted.any() {
            Barn::found(&context.farm, context.now, &crate::clock::machine_zone_name())?
        } else {
            context.barn()?
        };
        let settings = ways::change(&mut barn, &wanted)?;
        let lines = [
            ("name", settings.name.clone()),
            ("zone", settings.zone.clone()),
            ("units", if settings.units == UnitSystem::Us { "us" } else { "metric" }.to_owned()),
            ("breed", settings.breed.clone().unwrap_or_default()),
            ("pens", settings.pens.iter().map(|pen| pen.name.as_str()).collect::<Vec<_>>().join(", ")),
            ("exchange name", settings.exchange_name.clone().unwrap_or_default()),
            ("limits", settings.limits.words()),
            ("terms", settings.terms.words()),
            ("boxes", barn.store.boxes()?.join(", ")),
        ];
        match self.format {
            Format::Json => show::json(&settings)?,
            Format::Csv => {
                show::csv(
                    &["setting", "value"],
                    lines.iter().map(|(name, value)| vec![(*name).into(), show::guarded(value)]),
                )?;
            }
            Format::Text => {
                let mut out = show::out();
                writeln!(out, "Farm in {}", context.farm.display())?;
                for (name, value) in &lines {
                    let value = if value.is_empty() { "not set" } else { value };
                    writeln!(out, "  {name:<13} {}", show::plain(value))?;
                }
                out.flush()?;
            }
        }
        Ok(ExitCode::SUCCESS)
    }
}

//! A simulated herd's logs as plain tables, with the truth written beside them.
//!
//! Cows, boxes, weather, people and sensors are simulated together: cows come when they want, wait, are milked or
//! turned away; they calve, come into heat, fall ill and are noticed or not; boxes drift and break. Rows come out as
//! the plain tables that any farm may hand in. What truly went on is written to files of its own, which nothing that
//! judges a herd may read.
//!
//! The farm is invented. Forms and figures of the generator are its own: nothing of the models is used here but the
//! names of tables, columns and words. Where a figure comes from a publication it says so (`sources.md` §); all
//! others are common practice or stated choices, and none of them decides a check of a model.
//!
//! Read in this order: [`Scenario`], [`rows`], then the private modules `run` (what is told), `farm` (two hours of it), `pen` (who goes in when),
//! `visit` (what the box writes), `udder` and `curve` (milk), `course`, `signs`, `sickness` and `cycle` (why she differs),
//! `stall` (box faults), `season` (weather and feed), `people` (who notices what).

mod bunk;
mod cells;
mod chance;
mod clock;
mod course;
mod cow;
mod curve;
mod cycle;
mod farm;
mod figures;
mod life;
mod mishap;
mod movement;
mod pen;
mod people;
pub mod rows;
mod run;
mod season;
mod sickness;
mod signs;
mod stall;
mod stock;
mod tank;
#[cfg(test)]
mod tests;
mod told;
mod udder;
mod visit;
mod write;

use std::{
    collections::BTreeMap,
    path::{Path, PathBuf},
};

use jiff::{civil::Date, tz::TimeZone};

pub use figures::{Figure, figures};
pub use rows::Herd;

/// Which sensors the farm has; the columns of the others are not in its files.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[expect(missing_docs, reason = "each names its sensor")]
#[expect(clippy::struct_excessive_bools, reason = "a farm has a sensor or has it not")]
pub struct Sensors {
    pub quarters: bool,
    pub flow: bool,
    pub conductivity: bool,
    pub kicks: bool,
    pub blood: bool,
    pub milk_temperature: bool,
    /// Fat, protein and lactose in line.
    pub composition: bool,
    /// Cells in line, about one milking in three.
    pub cells: bool,
    pub feed: bool,
    pub weight: bool,
    pub movement: bool,
}

impl Sensors {
    /// Every sensor there is.
    pub const ALL: Sensors = Sensors {
        quarters: true,
        flow: true,
        conductivity: true,
        kicks: true,
        blood: true,
        milk_temperature: true,
        composition: true,
        cells: true,
        feed: true,
        weight: true,
        movement: true,
    };
}

/// What is to be simulated.
#[derive(Debug, Clone)]
pub struct Scenario {
    /// Cows of the herd, in milk and dry together; cows that leave are replaced by heifers.
    pub cows: u32,
    /// Boxes; a pen has up to three.
    pub boxes: u32,
    /// Days from the first local midnight to that of `last_day`.
    pub days: u32,
    /// Seed of all chance.
    pub seed: u64,
    /// Zone of the farm.
    pub zone: TimeZone,
    /// Last day simulated; the last rows end by 05:20 of its morning.
    pub last_day: Date,
    /// Sensors fitted.
    pub sensors: Sensors,
    /// Boxes whose clocks jump now and then, by minutes to hours, until somebody sets them right. Readers must then
    /// refuse rows; off in the demo.
    pub clock_jumps: bool,
    /// People bring cows in that have not been milked for long, four times a day. Without it who comes by herself can be
    /// told from the logs alone.
    pub fetched: bool,
    /// Name of the farm, invented.
    pub name: String,
}

impl Scenario {
    /// The invented farm of the demo. It ends on a fixed morning, so that the same words give the same bytes.
    ///
    /// 120 cows, 2 boxes, 120 days and seed [`Scenario::DEMO_SEED`] are its defaults; any other figures do.
    pub fn demo(cows: u32, boxes: u32, days: u32, seed: u64) -> Scenario {
        Scenario {
            cows,
            boxes,
            days,
            seed,
            // The zone data are compiled in; a build without them still gives a farm, on UTC.
            zone: TimeZone::get("America/New_York").unwrap_or(TimeZone::UTC),
            last_day: Date::constant(2026, 3, 2),
            sensors: Sensors::ALL,
            clock_jumps: false,
            fetched: true,
            name: "Sumac Hollow".into(),
        }
    }

    /// Seed of the demo: of the first sixty the one whose last morning shows most. A clinical udder case nobody has
    /// noticed began the day before, and one box's milk meter is off. Nothing is planted: the seed was chosen so that
    /// a first walk has something to find, and figures of how well a model does must not be taken on it.
    pub const DEMO_SEED: u64 = 10;
}

/// How many rows were written, by table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Written {
    /// Of the logs.
    pub rows: BTreeMap<&'static str, u64>,
    /// Of the truth; empty where it was not asked for.
    pub truth_rows: BTreeMap<&'static str, u64>,
}

/// Why a herd could not be simulated or written.
#[derive(Debug, thiserror::Error)]
pub enum SimError {
    /// A herd needs cows, boxes and days.
    #[error("a herd needs at least one cow, one box and one day; asked for were {cows}, {boxes} and {days}")]
    Empty {
        /// Cows asked for.
        cows: u32,
        /// Boxes asked for.
        boxes: u32,
        /// Days asked for.
        days: u32,
    },
    /// The dates leave the calendar.
    #[error("the simulated days leave the calendar: {0}")]
    Calendar(#[from] jiff::Error),
    /// A table is not declared.
    #[error("the table {0} is not declared")]
    Table(&'static str),
    /// A file could not be written.
    #[error("{} could not be written: {source}", path.display())]
    File {
        /// Which.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
}

/// Simulates the herd in memory. Rows come in the order in which they happened, as far as each table goes.
pub fn simulate(scenario: &Scenario) -> Result<Herd, SimError> {
    let mut herd = Herd::default();
    run::run(scenario, &mut |row| {
        herd.take(row);
        Ok(())
    })?;
    Ok(herd)
}

/// Simulates the herd and writes its logs to `logs_dir` as `visits.csv` and so on, its truth to `truth_dir` or nowhere.
/// Rows go to the files as they arise.
pub fn write(scenario: &Scenario, logs_dir: &Path, truth_dir: Option<&Path>) -> Result<Written, SimError> {
    let clock = clock::FarmClock::new(&scenario.zone, scenario.last_day, scenario.days)?;
    let mut files = write::Files::open(scenario, &clock, logs_dir, truth_dir)?;
    run::run(scenario, &mut |row| files.take(&row))?;
    files.close()
}

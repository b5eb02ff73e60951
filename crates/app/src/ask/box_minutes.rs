//! Where each box's minutes went: the ledger of a span of farm days, by box, by cow, and what of it is dearest.

use cowpath_core::minutes::trend::Trend;
use jiff::civil::Date;
use serde::Serialize;

use super::meters;

/// Which days.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct AskedMinutes {
    /// First farm day; `None`: a week that ends with `to`.
    pub from: Option<Date>,
    /// Last farm day; `None`: the last that is over.
    pub to: Option<Date>,
    /// In metric units, whatever the farm's: for programs.
    pub metric: bool,
}

/// The ledger. Times are RFC 3339 in the farm's zone.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BoxMinutes {
    /// Name of the farm.
    pub farm: String,
    /// First farm day.
    pub from: String,
    /// Last farm day.
    pub to: String,
    /// In a few sentences: where the time went.
    pub summary: String,
    /// What rises or falls, in a few sentences; empty where there are too few whole days.
    pub trend: String,
    /// The same in figures: over the fortnight that ends with `to`, or over a longer span that was asked for.
    pub trends: Vec<Trending>,
    /// What the reader should know before trusting it.
    pub notes: Vec<String>,
    /// Each box on each day, by day, then box.
    pub days: Vec<DayMinutes>,
    /// Each cow, the most minutes a day first.
    pub cows: Vec<CowMinutes>,
    /// What a cow does that takes more of the boxes than her mates do, the dearest first, at most ten.
    pub habits: Vec<Habit>,
    /// Taking cups off sooner; `None` where no row tells enough.
    pub take_off: Option<TakeOff>,
    /// Whether the farm's logs tell of cleaning, service, faults and times off at all.
    pub states_logged: bool,
}

impl BoxMinutes {
    /// Says first which meters are in doubt, where the span reaches as far.
    pub fn doubt(&mut self, doubts: &[meters::Doubt]) -> anyhow::Result<()> {
        let said = meters::notes(doubts, meters::Milk::Logged, self.to.parse()?);
        self.notes.splice(0..0, said);
        Ok(())
    }
}

/// How a use of the boxes' time changes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Trending {
    /// `idle`, `milk-flow`, `last-quarter`, `handling`, `turned-away`, `failed`: min a box and day; `milk-minute`: kg a
    /// minute in use.
    pub what: &'static str,
    /// Whole days it rests on.
    pub days: usize,
    /// More than days differ by themselves, so that all trends together err once in twenty.
    pub sure: bool,
    /// On a straight line over them.
    #[serde(flatten)]
    pub trend: Trend,
}

/// Seconds by use, whole; they add up to the time they are of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
#[serde(rename_all = "kebab-case")]
pub struct Seconds {
    /// In the box without flow, at whole milkings.
    pub handling: i64,
    /// Milk flows from at least two quarters.
    pub milk_flow: i64,
    /// One quarter alone keeps her: longest less second-longest.
    pub last_quarter: i64,
    /// Milkings of which some milk was missed.
    pub incomplete: i64,
    /// No milking was due.
    pub turned_away: i64,
    /// Feed only.
    pub fed_only: i64,
    /// Nothing or nearly nothing was milked.
    pub failed: i64,
    /// The box was cleaned.
    pub cleaning: i64,
    /// It was serviced.
    pub service: i64,
    /// It was at fault.
    pub fault: i64,
    /// It was off.
    pub off: i64,
    /// No row claims it.
    pub idle: i64,
}

impl Seconds {
    /// With the words of each, in the order they are told.
    pub fn named(&self) -> [(&'static str, i64); 12] {
        [
            ("handling", self.handling),
            ("milk flow", self.milk_flow),
            ("last quarter alone", self.last_quarter),
            ("incomplete", self.incomplete),
            ("turned away", self.turned_away),
            ("fed only", self.fed_only),
            ("failed", self.failed),
            ("cleaning", self.cleaning),
            ("service", self.service),
            ("fault", self.fault),
            ("off", self.off),
            ("idle", self.idle),
        ]
    }
}

/// Handling in its parts, whole seconds that add up to it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize)]
pub struct Handling {
    /// Before the first cup.
    pub preparing: i64,
    /// After the last quarter.
    pub leaving: i64,
    /// Where the first cup is not logged.
    pub not_split: i64,
}

/// A box on a farm day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct DayMinutes {
    /// Name of the box.
    #[serde(rename = "box")]
    pub name: String,
    /// The farm day.
    pub date: String,
    /// How long it is, s.
    pub day_s: i64,
    /// Whether any box of the farm has a visit on it, or stood still for most of it. Another day is no idle day: nothing is
    /// known of it.
    pub seen: bool,
    /// What it went for; adds up to `day_s`.
    pub seconds: Seconds,
    /// Handling in its parts.
    pub handling: Handling,
    /// Seconds within milk flow and handling that the logs do not let one split.
    pub unsplit_s: i64,
    /// Whole milkings that began on this day.
    pub milkings: u32,
    /// Milk of all visits that began on it, kg; `null` where none was measured.
    pub milk_kg: Option<f64>,
    /// By hour of the wall clock.
    pub hours: Vec<HourMinutes>,
    /// Rows that claim the same time, which is counted once.
    pub shared: Vec<SharedTime>,
    /// Stretches of two hours and more without any row: the box may have stood idle, or its log may have a hole.
    pub gaps: Vec<Stretch>,
    /// Rows that end before they begin.
    pub backwards: usize,
    /// The day in words, in the farm's units.
    #[serde(skip)]
    pub words: String,
}

/// An hour of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HourMinutes {
    /// The instant it begins.
    pub from: String,
    /// What it went for; adds up to the hour.
    pub seconds: Seconds,
    /// `05`.
    #[serde(skip)]
    pub name: String,
}

/// Time that two rows claim.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SharedTime {
    /// From.
    pub from: String,
    /// To.
    pub to: String,
    /// Which two, the one the time was given to first.
    pub words: String,
}

/// A stretch of time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Stretch {
    /// From.
    pub from: String,
    /// To.
    pub to: String,
    /// `02:10 to 05:20`.
    #[serde(skip)]
    pub words: String,
}

/// A cow over the span.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CowMinutes {
    /// Herd number or name.
    pub animal: String,
    /// Whole milkings that began in the span.
    pub milkings: u32,
    /// Box time of all kinds, min a day.
    pub minutes_day: f64,
    /// A whole milking, min, entry to exit.
    pub minutes_milking: Option<f64>,
    /// Of that without flow, min.
    pub handling_min: Option<f64>,
    /// Of that waiting for her last quarter alone, min.
    pub last_quarter_min: Option<f64>,
    /// Her last quarter, most often: `RR`.
    pub last_quarter: Option<&'static str>,
    /// Turned away, fed only, failed and incomplete, min a day.
    pub other_min_day: f64,
    /// Milk, kg a day.
    pub milk_kg_day: Option<f64>,
    /// Milk by minute of box time of all kinds, kg/min.
    pub kg_min: Option<f64>,
    /// Milk by minute of flow, kg/min.
    pub flow_kg_min: Option<f64>,
    /// Whole milkings, milk of one kg: for words.
    #[serde(skip)]
    pub milking_kg: Option<f64>,
    /// Times a day she was turned away, failed.
    #[serde(skip)]
    pub times_day: (f64, f64),
    /// Minutes a day turned away or fed only, failed or incomplete.
    #[serde(skip)]
    pub other_by_kind: (f64, f64),
}

/// What one cow's way costs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Habit {
    /// Herd number or name.
    pub animal: String,
    /// `last-quarter`, `slow`, `handling`, `turned-away`, `failed`.
    pub kind: &'static str,
    /// More than the herd's middle cow takes of it, min a day.
    pub minutes_day: f64,
    /// In words, in the farm's units.
    pub sentence: String,
}

/// What taking cups off sooner would do, of all milkings of the span that tell enough.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TakeOff {
    /// Milkings with at least one quarter of known yield, seconds, peak and flow at take-off.
    pub milkings: usize,
    /// Whole milkings of the span.
    pub of: usize,
    /// Median flow at which cups came off, kg/min.
    pub now_kg_min: f64,
    /// Mean seconds a milking in which the quarters gave less than 0.05 kg/min, added over quarters.
    pub over_milked_s: f64,
    /// Each quarter, of all whole milkings.
    pub quarters: Vec<QuarterEnd>,
    /// Levels of published trials, and what each would do here.
    pub levels: Vec<Level>,
    /// In words.
    pub words: String,
}

/// How a quarter ends.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct QuarterEnd {
    /// `LF`, `RF`, `LR`, `RR`.
    pub quarter: &'static str,
    /// Share of whole milkings in which it is the last, 0 to 1.
    pub last: f64,
    /// Mean seconds of flow; `null` where none are logged.
    pub flow_s: Option<f64>,
    /// Mean seconds under 0.05 kg/min, of milkings that tell enough.
    pub over_milked_s: f64,
    /// Mean seconds under each level of the trials, in their order, of milkings that tell enough.
    pub under_s: Vec<f64>,
    /// In words: share, seconds, seconds under the highest level.
    #[serde(skip)]
    pub words: [String; 4],
}

/// One level.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Level {
    /// Of a quarter, kg/min.
    pub level_kg_min: f64,
    /// Who tried it.
    pub trial: &'static str,
    /// Seconds a milking that cups would come off sooner, added over quarters.
    pub quarters_s: f64,
    /// Seconds a milking is shorter: only the last quarter counts.
    pub visit_s: f64,
    /// Milk left a milking, kg.
    pub left_kg: f64,
    /// Box minutes a box and day.
    pub box_min_day: f64,
    /// In words, in the farm's units.
    #[serde(skip)]
    pub words: [String; 4],
}

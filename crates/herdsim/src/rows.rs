//! What is handed out: the rows of each table, rounded as the device that wrote them rounds, and the truth.

use cowpath_core::tables::{Destination, Outcome};

/// Quarters in the order of the tables: left front, right front, left rear, right rear.
pub const QUARTERS: [&str; 4] = ["LF", "RF", "LR", "RR"];

/// What one cup measured in a visit; `None` is not measured.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CupRow {
    /// Milk by the meter, kg.
    pub kg: Option<f64>,
    /// Seconds of milk flow.
    pub flow_s: Option<f64>,
    /// Mean flow, kg/min.
    pub flow_kg_min: Option<f64>,
    /// Peak flow, kg/min.
    pub peak_kg_min: Option<f64>,
    /// Conductivity, mS/cm.
    pub ms_cm: Option<f64>,
    /// Whether she kicked the cup off.
    pub kicked: Option<bool>,
    /// Flow at which the cup came off, kg/min.
    pub takeoff_kg_min: Option<f64>,
}

/// One row of `visits`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VisitRow {
    /// Herd number.
    pub animal: u32,
    /// Number of the box, from 1.
    pub at_box: u32,
    /// Entry, s since 1970 UTC; so all times here.
    pub started_s: i64,
    /// Exit.
    pub ended_s: i64,
    /// First cup on.
    pub attached_s: Option<i64>,
    /// What came of it.
    pub outcome: Outcome,
    /// Milk of the whole udder, kg.
    pub milk_kg: Option<f64>,
    /// By cup, in the order of [`QUARTERS`].
    pub cups: [CupRow; 4],
    /// Blood, ppm.
    pub blood_ppm: Option<f64>,
    /// Milk temperature, °C.
    pub milk_c: Option<f64>,
    /// Fat, %.
    pub fat_pct: Option<f64>,
    /// Protein, %.
    pub protein_pct: Option<f64>,
    /// Lactose, %.
    pub lactose_pct: Option<f64>,
    /// Somatic cells, thousand/mL.
    pub scc_k: Option<f64>,
    /// Concentrate the box says it gave, kg.
    pub feed_offered_kg: Option<f64>,
    /// Concentrate eaten, kg.
    pub feed_eaten_kg: Option<f64>,
    /// Weight by the box's scale, kg.
    pub weight_kg: Option<f64>,
    /// Where the milk went.
    pub destination: Option<Destination>,
    /// Truth, never written to the logs: milk that left the udder, kg.
    pub true_milk_kg: f64,
    /// Truth: the meter lost part of a quarter's milk.
    pub meter_lost: bool,
    /// Truth: fat, protein and lactose, %.
    pub true_solids_pct: [f64; 3],
    /// Truth: cells, thousand/mL.
    pub true_scc_k: f64,
}

/// One row of `movement`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MovementRow {
    /// Herd number.
    pub animal: u32,
    /// Begin of the bin.
    pub from_s: i64,
    /// Length of the bin, min.
    pub minutes: f64,
    /// Movement in the sensor's own unit.
    pub activity: f64,
    /// Minutes of rumination, eating and lying.
    pub rumination_min: f64,
    /// Minutes of eating.
    pub eating_min: f64,
    /// Minutes lying.
    pub lying_min: f64,
    /// Steps.
    pub steps: f64,
}

/// One row of `animals`.
#[derive(Debug, Clone, PartialEq)]
pub struct AnimalRow {
    /// Herd number.
    pub animal: u32,
    /// 15 digits.
    pub official_id: u64,
    /// Day of birth, days since 1970-01-01; so all days here.
    pub born_day: i32,
    /// Number of the lactation.
    pub parity: u32,
    /// Day of calving.
    pub calved_day: i32,
    /// Pen.
    pub pen: String,
    /// Sire, an invented number.
    pub sire: String,
    /// Herd number of the dam, if she was here.
    pub dam: String,
}

/// One row of `events`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct EventRow {
    /// Herd number.
    pub animal: u32,
    /// When.
    pub at_s: i64,
    /// One of the table's words.
    pub kind: &'static str,
    /// Place in [`QUARTERS`].
    pub quarter: Option<usize>,
    /// What exactly.
    pub detail: String,
    /// A figure.
    pub value: Option<f64>,
    /// Its unit.
    pub unit: &'static str,
    /// Milk held until then.
    pub until_s: Option<i64>,
    /// Who noted it: a role, never a person.
    pub by: &'static str,
}

/// One row of `recordings`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RecordingRow {
    /// Herd number.
    pub animal: u32,
    /// Day.
    pub on_day: i32,
    /// Milk of 24 hours, kg.
    pub milk_kg: f64,
    /// Fat, protein and lactose, %.
    pub solids_pct: [f64; 3],
    /// Somatic cells, thousand/mL.
    pub scc_k: f64,
}

/// One row of `pickups`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PickupRow {
    /// When.
    pub collected_s: i64,
    /// Milk collected, kg.
    pub milk_kg: f64,
    /// Fat and protein, %.
    pub solids_pct: [f64; 2],
    /// Somatic cells, thousand/mL.
    pub scc_k: f64,
    /// Bacteria, thousand/mL.
    pub bacteria_k: f64,
    /// Temperature in the tank, °C.
    pub milk_c: f64,
}

/// One row of `box-states`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoxStateRow {
    /// Number of the box, from 1.
    pub at_box: u32,
    /// Begin.
    pub from_s: i64,
    /// End.
    pub to_s: i64,
    /// One of the table's words.
    pub state: &'static str,
}

/// One row of `feeds`: figures in the table's order from `dm_pct` to `price_per_t`, then `max_kg_dm`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FeedRow {
    /// Name.
    pub feed: &'static str,
    /// dm, nel, cp, ndf, forage ndf, starch, fat, price.
    pub holds: [f64; 8],
    /// One of the table's words.
    pub kind: &'static str,
    /// Most a cow may get a day, kg of dry matter.
    pub max_kg_dm: Option<f64>,
}

/// One row of `bunk`.
#[derive(Debug, Clone, PartialEq)]
pub struct BunkRow {
    /// Pen.
    pub pen: String,
    /// When it was put down.
    pub delivered_s: i64,
    /// Feed.
    pub feed: &'static str,
    /// kg as fed.
    pub kg: f64,
}

/// One row of `pushes`.
#[derive(Debug, Clone, PartialEq)]
pub struct PushRow {
    /// Side of the bunk.
    pub bunk_side: String,
    /// When.
    pub at_s: i64,
    /// cm.
    pub distance_cm: f64,
}

/// Truth: one case of one cow. A heat is one too.
#[derive(Debug, Clone, PartialEq)]
pub struct CaseTruth {
    /// Number of the case.
    pub case: u32,
    /// Herd number.
    pub animal: u32,
    /// `udder heat metabolic gut feet fever`.
    pub kind: &'static str,
    /// What form it took.
    pub form: &'static str,
    /// Quarter of an udder case.
    pub quarter: Option<usize>,
    /// First departure of any signal.
    pub began_s: i64,
    /// First sign a person at the cow could see.
    pub first_sign_s: i64,
    /// When people noticed; not at all is `None`.
    pub noticed_s: Option<i64>,
    /// When she was treated.
    pub treated_s: Option<i64>,
    /// When it was over, as far as it was by the last row.
    pub ended_s: Option<i64>,
    /// 0 to 1; of a heat its strength.
    pub severity: f64,
    /// Whether a person at the cow could see it at all.
    pub clinical: bool,
    /// Most conductivity added in the quarter, mS/cm.
    pub conductivity_rise_ms_cm: f64,
    /// Most milk lost, share of the whole udder, 0 to 1.
    pub milk_loss: f64,
}

/// Truth: one cow on one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayTruth {
    /// Herd number.
    pub animal: u32,
    /// Day.
    pub day: i32,
    /// Days in milk.
    pub dim: i32,
    /// What her curve, herd and day would have secreted with an udder never full and no case, kg.
    pub potential_kg: f64,
    /// What she secreted, kg.
    pub secreted_kg: f64,
    /// Share lost to cases and heats, 0 to 1.
    pub loss: f64,
    /// Shares of the four quarters.
    pub shares: [f64; 4],
    /// The herd's factor on milk of that day (weather and feed).
    pub herd_factor: f64,
}

/// Truth: a fault of a box.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BoxFaultTruth {
    /// Number of the box, from 1.
    pub at_box: u32,
    /// `milk-meter conductivity-probe attachment feed-dispenser idle-fault`.
    pub kind: &'static str,
    /// Cup it hangs on.
    pub quarter: Option<usize>,
    /// `step` or `drift`.
    pub form: &'static str,
    /// Begin.
    pub from_s: i64,
    /// End.
    pub to_s: i64,
    /// A drift: when it has reached its size.
    pub full_s: i64,
    /// Meter: share too much (less when negative). Probe: mS/cm. Attachment: chance of failing. Dispenser: share given.
    pub size: f64,
}

/// Truth: something that moves the whole herd, or a thing that looks like trouble and is none.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct HappeningTruth {
    /// `heat-stress bad-batch ration-change receiver-down` of the herd; of a cow `tag-lost tag-frozen heat-misnoted
    /// incomplete-carried meter-lost moved-pen chronic-quarter quarter-dry`; of a box `clock-jump` (size in s).
    pub kind: &'static str,
    /// Cow, where it is hers.
    pub animal: Option<u32>,
    /// Box, where it is a box's.
    pub at_box: Option<u32>,
    /// Quarter, where it is one's.
    pub quarter: Option<usize>,
    /// Begin.
    pub from_s: i64,
    /// End.
    pub to_s: i64,
    /// Herd: most change of milk, share. Milk left behind, kg; chronic conductivity, mS/cm; clock, s.
    pub size: Option<f64>,
}

/// Truth: a cow that people brought to the boxes; no log tells of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BroughtTruth {
    /// Herd number.
    pub animal: u32,
    /// When she stood before them.
    pub at_s: i64,
}

/// Any row.
#[derive(Debug, Clone, PartialEq)]
#[expect(missing_docs, reason = "each variant is the row of its table")]
#[expect(
    clippy::large_enum_variant,
    reason = "visits are the many; boxing them would cost an allocation a row"
)]
pub enum Row {
    Visit(VisitRow),
    Movement(MovementRow),
    Animal(AnimalRow),
    Event(EventRow),
    Recording(RecordingRow),
    Pickup(PickupRow),
    BoxState(BoxStateRow),
    Feed(FeedRow),
    Bunk(BunkRow),
    Push(PushRow),
    Case(CaseTruth),
    Day(DayTruth),
    BoxFault(BoxFaultTruth),
    Happening(HappeningTruth),
    Brought(BroughtTruth),
}

/// A whole herd in memory: logs, then truth.
#[derive(Debug, Clone, PartialEq, Default)]
#[expect(missing_docs, reason = "each field is the table of its name")]
pub struct Herd {
    pub visits: Vec<VisitRow>,
    pub movement: Vec<MovementRow>,
    pub animals: Vec<AnimalRow>,
    pub events: Vec<EventRow>,
    pub recordings: Vec<RecordingRow>,
    pub pickups: Vec<PickupRow>,
    pub box_states: Vec<BoxStateRow>,
    pub feeds: Vec<FeedRow>,
    pub bunk: Vec<BunkRow>,
    pub pushes: Vec<PushRow>,
    pub cases: Vec<CaseTruth>,
    pub days: Vec<DayTruth>,
    pub box_faults: Vec<BoxFaultTruth>,
    pub happenings: Vec<HappeningTruth>,
    pub brought: Vec<BroughtTruth>,
}

impl Herd {
    /// Takes one row in.
    pub fn take(&mut self, row: Row) {
        match row {
            Row::Visit(row) => self.visits.push(row),
            Row::Movement(row) => self.movement.push(row),
            Row::Animal(row) => self.animals.push(row),
            Row::Event(row) => self.events.push(row),
            Row::Recording(row) => self.recordings.push(row),
            Row::Pickup(row) => self.pickups.push(row),
            Row::BoxState(row) => self.box_states.push(row),
            Row::Feed(row) => self.feeds.push(row),
            Row::Bunk(row) => self.bunk.push(row),
            Row::Push(row) => self.pushes.push(row),
            Row::Case(row) => self.cases.push(row),
            Row::Day(row) => self.days.push(row),
            Row::BoxFault(row) => self.box_faults.push(row),
            Row::Happening(row) => self.happenings.push(row),
            Row::Brought(row) => self.brought.push(row),
        }
    }
}

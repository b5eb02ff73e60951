//! Who is she: her lasting habits, and how she is now?

use crate::{
    chance::Stream,
    curve::{Curve, filled_kg},
    cycle::{Breeding, Heat},
    sickness::Case,
    signs::Signs,
};

/// What stays with her for life.
#[derive(Debug, Clone)]
pub struct Habit {
    /// Lasting factor on milk.
    pub merit: f64,
    /// Shares of the four quarters, sum 1; 0 is a quarter gone dry.
    pub shares: [f64; 4],
    /// Full flow of each quarter, kg/min.
    pub flow_kg_min: [f64; 4],
    /// Hours of her best secretion after which a full udder has halved it.
    pub half_h: f64,
    /// Width of that slowing, as a share of the half point.
    pub width: f64,
    /// Share of milk that stays in a well milked udder.
    pub residual: f64,
    /// Day-to-day noise of secretion: correlation and standard deviation (log).
    pub day_noise: (f64, f64),
    /// Size and hour of the daily wave of secretion.
    pub wave: (f64, f64),
    /// Eagerness to come, about 1.
    pub eager: f64,
    /// Hours of her day: sizes and phases of two waves, and how much she keeps to the night.
    pub hours: [f64; 4],
    /// Median minutes she waits at a box.
    pub patience_min: f64,
    /// 0 lowest to 1 highest.
    pub rank: f64,
    /// Chance of kicking, times the herd's.
    pub kicky: f64,
    /// Awkwardness of each quarter for the arm, times the herd's.
    pub awkward: [f64; 4],
    /// Extra time to prepare her, s.
    pub slow_s: f64,
    /// Chance of taking the box she likes when both are free.
    pub faithful: f64,
    /// Which box of her pen she likes.
    pub likes: usize,
    /// Conductivity: own level, quarters' departures, rise a day in milk, mS/cm.
    pub ms_cm: f64,
    /// Departure of each quarter, mS/cm.
    pub ms_quarter: [f64; 4],
    /// Rise over the lactation, mS/cm a day.
    pub ms_a_day: f64,
    /// Log of cells of each quarter, log(k/mL).
    pub cells_log: [f64; 4],
    /// A quarter that is always somewhat inflamed: conductivity added.
    pub chronic_ms_cm: [f64; 4],
    /// Milk temperature, °C.
    pub milk_c: f64,
    /// Fat, protein, lactose, %.
    pub solids_pct: [f64; 3],
    /// Activity of a 2-h bin, own unit.
    pub activity: f64,
    /// Rumination, eating, lying, min/d.
    pub day_min: [f64; 3],
    /// Peaks of rumination and eating: own phase, h.
    pub phase_h: f64,
    /// Sensitivity to heat, and to feed, about 1.
    pub tender: [f64; 2],
    /// Grown weight, kg.
    pub frame_kg: f64,
    /// Length of her cycle, d.
    pub cycle_d: f64,
    /// Share of box feed she leaves on an ordinary day.
    pub leaves_feed: f64,
    /// Risks of udder, metabolic or gut, feet cases, times the herd's.
    pub risk: [f64; 3],
    /// Fresh cows' udders swell: extra conductivity at calving, mS/cm.
    pub fresh_ms_cm: f64,
}

impl Habit {
    /// Draws a cow.
    pub fn draw(chance: &mut Stream) -> Habit {
        let front = chance.bounded(0.215, 0.018, 2.5);
        let mut shares = [front, front, 0.5 - front, 0.5 - front];
        for share in &mut shares {
            *share *= chance.log_normal(1.0, 0.09);
        }
        if chance.chance(0.025) {
            shares[chance.below(4)] = 0.0;
        }
        let whole: f64 = shares.iter().sum();
        shares = shares.map(|share| share / whole);
        let flow = chance.log_normal(1.12, 0.2);
        let cells = chance.normal(3.7, 0.55);
        let mut chronic_ms_cm = [0.0; 4];
        let mut cells_log = [0; 4].map(|_| cells + chance.normal(0.0, 0.3));
        if chance.chance(0.11) {
            let q = chance.below(4);
            cells_log[q] += chance.between(1.2, 2.8);
            chronic_ms_cm[q] = chance.between(0.1, 0.9);
        }
        let awkward = chance.log_normal(0.8, 0.5);
        Habit {
            merit: chance.log_normal(1.0, 0.1),
            shares,
            flow_kg_min: [0, 1, 2, 3].map(|q| flow * chance.log_normal(if q < 2 { 0.97 } else { 1.05 }, 0.1)),
            half_h: chance.bounded(17.5, 2.2, 2.0),
            width: chance.bounded(0.27, 0.04, 2.0),
            residual: chance.bounded(0.09, 0.03, 2.0),
            day_noise: (chance.between(0.25, 0.75), chance.log_normal(0.042, 0.3)),
            wave: (chance.between(0.0, 0.07), chance.between(0.0, 24.0)),
            // A few hardly ever come by themselves.
            eager: chance.log_normal(1.0, 0.28) * if chance.chance(0.06) { 0.35 } else { 1.0 },
            hours: [
                chance.bounded(0.3, 0.12, 2.0),
                chance.normal(17.0, 2.5),
                chance.bounded(0.25, 0.1, 2.0),
                chance.normal(7.5, 1.5),
            ],
            patience_min: chance.log_normal(28.0, 0.4),
            rank: chance.uniform(),
            kicky: chance.log_normal(0.6, 0.9),
            awkward: [0; 4].map(|_| awkward * chance.log_normal(1.0, 0.5)),
            slow_s: chance.bounded(0.0, 14.0, 2.0),
            faithful: chance.between(0.4, 0.95),
            likes: chance.below(3),
            ms_cm: chance.normal(4.72, 0.28),
            ms_quarter: [0; 4].map(|_| chance.normal(0.0, 0.11)),
            ms_a_day: chance.normal(0.0009, 0.0005),
            cells_log,
            chronic_ms_cm,
            milk_c: chance.normal(38.3, 0.2),
            solids_pct: [chance.normal(4.0, 0.33), chance.normal(3.38, 0.18), chance.normal(4.85, 0.09)],
            activity: chance.log_normal(420.0, 0.2),
            day_min: [
                chance.bounded(505.0, 55.0, 2.2),
                chance.bounded(268.0, 34.0, 2.2),
                chance.bounded(675.0, 60.0, 2.2),
            ],
            phase_h: chance.normal(0.0, 1.3),
            tender: [chance.log_normal(1.0, 0.35), chance.log_normal(1.0, 0.3)],
            frame_kg: chance.normal(705.0, 45.0),
            cycle_d: chance.bounded(21.0, 1.1, 2.0),
            leaves_feed: chance.unit_gamma(1.2) * 0.05,
            risk: [0; 3].map(|_| chance.unit_gamma(1.6)),
            fresh_ms_cm: chance.between(0.5, 1.8),
        }
    }
}

/// Streams of chance of one cow, one a source.
#[derive(Debug, Clone)]
pub struct Streams {
    pub day: Stream,
    pub coming: Stream,
    pub milking: Stream,
    pub sensing: Stream,
    pub sick: Stream,
    pub breeding: Stream,
    pub moving: Stream,
    pub people: Stream,
    pub life: Stream,
    pub mistaken: Stream,
}

impl Streams {
    /// The streams of a cow.
    pub fn of(seed: u64, animal: u32) -> Streams {
        let stream = |name| Stream::new(seed, name, u64::from(animal));
        Streams {
            day: stream("cow days"),
            coming: stream("cow coming"),
            milking: stream("cow milking"),
            sensing: stream("cow sensing"),
            sick: stream("cow sick"),
            breeding: stream("cow breeding"),
            moving: stream("cow moving"),
            people: stream("cow and people"),
            life: stream("cow life"),
            mistaken: stream("cow mistaken"),
        }
    }
}

/// Something that people will do with her at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Task {
    /// Note a heat.
    NoteHeat,
    /// Inseminate; hours since activity rose.
    Inseminate(f64),
}

/// How she is now.
#[derive(Debug, Clone)]
pub struct Cow {
    /// Herd number.
    pub animal: u32,
    /// Born, day.
    pub born_day: i32,
    /// Sire, an invented number.
    pub sire: u32,
    /// Number of the lactation.
    pub parity: u32,
    /// Day of the last calving.
    pub calved_day: i32,
    /// When she calved, s.
    pub calved_s: i64,
    /// Dry.
    pub dry: bool,
    /// Left the herd.
    pub gone: bool,
    /// Place of her pen; dry cows keep it for their return.
    pub pen: usize,
    /// For life.
    pub habit: Habit,
    /// This lactation.
    pub curve: Curve,
    /// Chance.
    pub streams: Streams,
    /// Cases not yet over.
    pub cases: Vec<Case>,
    /// Heats not yet over.
    pub heats: Vec<Heat>,
    /// Breeding.
    pub breeding: Breeding,
    /// Everything that moves her signals.
    pub signs: Signs,
    /// Last udder case: day and quarter.
    pub last_udder: Option<(i32, usize)>,
    /// Factor of each quarter since cases left it weaker.
    pub lasting: [f64; 4],
    /// Milk in each quarter, kg.
    pub held_kg: [f64; 4],
    /// Secretion of each quarter if it were empty, kg/h.
    pub rate_kg_h: [f64; 4],
    /// Up to when secretion is reckoned.
    pub advanced_s: i64,
    /// Log noise of the day, of quarters, of conductivity by quarter.
    pub day_log: f64,
    /// Log noise of quarters.
    pub quarter_log: [f64; 4],
    /// Noise of conductivity by day, mS/cm.
    pub ms_day: [f64; 4],
    /// Noise of conductivity by day that all quarters share, mS/cm.
    pub ms_all: f64,
    /// Slow wandering of her level over weeks, log.
    pub wander_log: f64,
    /// Answer of the udder to being milked often, log.
    pub vigour_log: f64,
    /// Potential of today, kg, and what was secreted so far; what would have been without cases.
    pub potential_kg: f64,
    /// Secreted since midnight, kg.
    pub secreted_kg: f64,
    /// Sum of loss over today's ticks, and their number.
    pub loss_sum: (f64, f64),
    /// Log noise of rumination and activity of the day.
    pub ways_log: [f64; 2],
    /// Last time she left a box, and was milked out.
    pub last_visit_s: i64,
    /// Last milking (also incomplete).
    pub last_milking_s: i64,
    /// The last milking missed a quarter or all.
    pub missed: bool,
    /// Milk left behind by the last milking beyond the usual, kg.
    pub left_behind_kg: f64,
    /// Hazard left before she comes.
    pub hazard_left: f64,
    /// Stands before a box.
    pub waiting: bool,
    /// Milkings since calving.
    pub milkings: u32,
    /// Milkings a day, slow mean.
    pub milkings_day: f64,
    /// Box feed earned and not yet given, kg.
    pub credit_kg: f64,
    /// Box feed a day, kg.
    pub allowance_kg: f64,
    /// Weight, kg.
    pub weight_kg: f64,
    /// Milk held until.
    pub held_until_s: i64,
    /// What people will do.
    pub agenda: Vec<(i64, Task)>,
    /// Solids and cells of the last milk.
    pub last_milk: Option<([f64; 3], f64)>,
    /// Day she goes back to her pen from the straw.
    pub back_on: Option<i32>,
    /// Unsettled by a move until then.
    pub unsettled_until_s: i64,
    /// Last row of movement, for a frozen tag.
    pub last_bin: Option<[f64; 5]>,
    /// Tag: lost or frozen until; frozen repeats a row.
    pub tag_lost_until_s: i64,
    /// Tag frozen until.
    pub tag_frozen_until_s: i64,
}

impl Cow {
    /// Days in milk on a day.
    pub fn dim(&self, day: i32) -> i32 {
        day - self.calved_day
    }

    /// Days of pregnancy on a day.
    pub fn carried_d(&self, day: i32) -> f64 {
        self.breeding.in_calf_since.map_or(0.0, |since| f64::from(day - since))
    }

    /// Secretes up to a time.
    pub fn advance(&mut self, at_s: i64) {
        let hours = (at_s - self.advanced_s) as f64 / 3600.0;
        if hours <= 0.0 || self.dry {
            self.advanced_s = self.advanced_s.max(at_s);
            return;
        }
        self.advanced_s = at_s;
        for q in 0..4 {
            let share = self.habit.shares[q];
            if share == 0.0 {
                continue;
            }
            let half_kg = self.habit.half_h * self.curve.best_kg_h() * share * 0.86;
            let before_kg = self.held_kg[q];
            self.held_kg[q] =
                filled_kg(before_kg, self.rate_kg_h[q] * hours, half_kg, half_kg * self.habit.width);
            self.secreted_kg += self.held_kg[q] - before_kg;
        }
    }

    /// Her quarters' shares when she is well, as earlier cases have left them.
    pub fn own_shares(&self) -> [f64; 4] {
        let kept = [0, 1, 2, 3].map(|q| self.habit.shares[q] * self.lasting[q]);
        let whole: f64 = kept.iter().sum();
        kept.map(|share| share / whole)
    }

    /// How full the udder is: 1 where secretion has halved.
    pub fn fill(&self) -> f64 {
        self.held_kg.iter().sum::<f64>() / (self.habit.half_h * self.curve.best_kg_h() * 0.86).max(0.1)
    }

    /// Hours after which the box milks her.
    pub fn due_after_h(&self, day: i32) -> f64 {
        let dim = self.dim(day);
        let by_stage = match dim {
            ..45 => 4.8,
            45..130 => 5.2,
            130..230 => 6.0,
            _ => 7.0,
        };
        if self.potential_kg < 20.0 { by_stage + 1.0 } else { by_stage }
    }

    /// Reckons today's signs and rates; `hour` of the wall clock, `herd` the factor of the day for her.
    pub fn reckon(&mut self, at_s: i64, hour: f64, herd: f64) {
        self.advance(at_s);
        let mut signs = Signs::WELL;
        for heat in &self.heats {
            heat.act(at_s, &mut signs);
        }
        for case in &mut self.cases {
            case.act(at_s, &mut signs);
        }
        let from_calving_h = (at_s - self.calved_s) as f64 / 3600.0;
        if from_calving_h.abs() < 14.0 {
            // She is restless and does not chew about the hour of calving.
            let near = 1.0 - from_calving_h.abs() / 14.0;
            signs.rumination *= 1.0 - 0.6 * near;
            signs.eating *= 1.0 - 0.5 * near;
            signs.activity *= 1.0 + 0.5 * near;
        }
        self.signs = signs;
        if self.dry {
            return;
        }
        let (size, peak_h) = self.habit.wave;
        let wave = 1.0 + size * (std::f64::consts::TAU * (hour - peak_h) / 24.0).cos();
        let log = self.day_log + self.wander_log + self.vigour_log;
        let whole_kg_h = self.potential_kg / 24.0 * wave * herd * log.exp();
        let mut kept = 0.0;
        for q in 0..4 {
            let share = self.habit.shares[q];
            let quarter = signs.milk * signs.quarter[q];
            kept += share * quarter;
            self.rate_kg_h[q] = whole_kg_h * share * quarter * self.lasting[q] * self.quarter_log[q].exp();
        }
        self.loss_sum.0 += 1.0 - kept;
        self.loss_sum.1 += 1.0;
    }
}

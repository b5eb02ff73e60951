//! What a simulated pen counts, and the figures people ask of it.

use super::pen::HALVES;

/// Bins of intervals between milkings: quarter-hours to 48 h.
pub const INTERVALS: usize = 192;
/// Bins of waits: minutes to 4 h.
pub const WAITS: usize = 240;

/// A count of values in even bins; what is beyond the last one is in it.
#[derive(Debug, Clone, PartialEq)]
pub struct Bins {
    counts: Vec<u32>,
    width: f64,
    /// Bins a unit.
    per_unit: f64,
    sum: f64,
    squares: f64,
    count: u64,
}

impl Bins {
    /// `bins` bins of a width.
    pub fn of(bins: usize, width: f64) -> Bins {
        Bins { counts: vec![0; bins], width, per_unit: 1.0 / width, sum: 0.0, squares: 0.0, count: 0 }
    }

    /// Adds one value, 0 and above.
    #[inline]
    pub fn add(&mut self, value: f64) {
        let last = self.counts.len() - 1;
        self.counts[((value * self.per_unit) as usize).min(last)] += 1;
        self.sum += value;
        self.squares += value * value;
        self.count += 1;
    }

    /// Empties it.
    pub fn clear(&mut self) {
        self.counts.fill(0);
        (self.sum, self.squares, self.count) = (0.0, 0.0, 0);
    }

    /// Adds another's.
    pub fn join(&mut self, other: &Bins) {
        self.counts.iter_mut().zip(&other.counts).for_each(|(own, more)| *own += more);
        self.sum += other.sum;
        self.squares += other.squares;
        self.count += other.count;
    }

    /// How many.
    pub fn count(&self) -> u64 {
        self.count
    }

    /// Their sum.
    pub fn sum(&self) -> f64 {
        self.sum
    }

    /// Their mean; 0 of none.
    pub fn mean(&self) -> f64 {
        self.sum / self.count.max(1) as f64
    }

    /// Their standard deviation.
    pub fn sd(&self) -> f64 {
        (self.squares / self.count.max(1) as f64 - self.mean().powi(2)).max(0.0).sqrt()
    }

    /// The value below which a share lies, straight within a bin.
    pub fn quantile(&self, share: f64) -> f64 {
        let wanted = share * self.count as f64;
        let mut below = 0.0;
        for (bin, count) in self.counts.iter().enumerate() {
            let own = f64::from(*count);
            if 0.0 < own && wanted <= below + own {
                return self.width * (bin as f64 + ((wanted - below) / own).clamp(0.0, 1.0));
            }
            below += own;
        }
        0.0
    }

    /// Share at or above a bound, whole bins.
    pub fn share_from(&self, bound: f64) -> f64 {
        let from = (bound / self.width).round() as usize;
        let above: u32 = self.counts.iter().skip(from).sum();
        f64::from(above) / self.count.max(1) as f64
    }

    /// Shares of `parts` equal stretches, for a picture.
    pub fn shares(&self, parts: usize) -> Vec<f64> {
        let wide = (self.counts.len() / parts.max(1)).max(1);
        self.counts
            .chunks(wide)
            .map(|part| part.iter().map(|count| f64::from(*count)).sum::<f64>() / self.count.max(1) as f64)
            .collect()
    }
}

/// What was counted of one pen, or of all pens together, in one replicate.
#[derive(Debug, Clone, PartialEq)]
pub struct Counted {
    /// Cows.
    pub cows: f64,
    /// Boxes.
    pub boxes: f64,
    /// Days that count.
    pub days: f64,
    /// Visits to a box of any kind.
    pub visits: u64,
    /// Milkings.
    pub milkings: u64,
    /// Turned away in the box.
    pub turned_away: u64,
    /// Passed the gate not being due, in guided traffic.
    pub passed: u64,
    /// Failed.
    pub failed: u64,
    /// Left the queue unmilked.
    pub gave_up: u64,
    /// Brought by people.
    pub brought: u64,
    /// Minutes of people.
    pub people_min: f64,
    /// Milk, kg.
    pub milk_kg: f64,
    /// Minutes boxes held a cow.
    pub busy_min: f64,
    /// Minutes boxes were being cleaned, serviced, at fault.
    pub closed_min: [f64; 3],
    /// Hours between milkings.
    pub intervals_h: Bins,
    /// Minutes from joining the queue to entering, by lower, middle and upper third of rank.
    pub waits_min: [Bins; 3],
    /// Entries that had to wait.
    pub waited: u64,
    /// Minutes waited by those who gave up.
    pub in_vain_min: f64,
    /// Visits by half-hour of the clock.
    pub by_half: Vec<u32>,
    /// Cows with fewer than two milkings a day.
    pub under_two: u64,
    /// Visits that found no cow away, where visits come at a constant rate.
    pub short: u64,
}

impl Default for Counted {
    fn default() -> Counted {
        Counted {
            cows: 0.0,
            boxes: 0.0,
            days: 0.0,
            visits: 0,
            milkings: 0,
            turned_away: 0,
            passed: 0,
            failed: 0,
            gave_up: 0,
            brought: 0,
            people_min: 0.0,
            milk_kg: 0.0,
            busy_min: 0.0,
            closed_min: [0.0; 3],
            intervals_h: Bins::of(INTERVALS, 0.25),
            waits_min: [Bins::of(WAITS, 1.0), Bins::of(WAITS, 1.0), Bins::of(WAITS, 1.0)],
            waited: 0,
            in_vain_min: 0.0,
            by_half: vec![0; HALVES],
            under_two: 0,
            short: 0,
        }
    }
}

impl Counted {
    /// Empties it, keeping what was allocated.
    pub fn clear(&mut self) {
        let (mut intervals_h, mut waits_min, mut by_half) = (
            std::mem::replace(&mut self.intervals_h, Bins::of(1, 1.0)),
            std::mem::replace(&mut self.waits_min, [Bins::of(1, 1.0), Bins::of(1, 1.0), Bins::of(1, 1.0)]),
            std::mem::take(&mut self.by_half),
        );
        intervals_h.clear();
        waits_min.iter_mut().for_each(Bins::clear);
        by_half.fill(0);
        *self = Counted { intervals_h, waits_min, by_half, ..Counted::default() };
    }

    /// Adds another pen's counts of the same days.
    pub fn join(&mut self, other: &Counted) {
        self.cows += other.cows;
        self.boxes += other.boxes;
        self.days = self.days.max(other.days);
        self.visits += other.visits;
        self.milkings += other.milkings;
        self.turned_away += other.turned_away;
        self.passed += other.passed;
        self.failed += other.failed;
        self.gave_up += other.gave_up;
        self.brought += other.brought;
        self.people_min += other.people_min;
        self.milk_kg += other.milk_kg;
        self.busy_min += other.busy_min;
        self.closed_min.iter_mut().zip(other.closed_min).for_each(|(own, more)| *own += more);
        self.intervals_h.join(&other.intervals_h);
        self.waits_min.iter_mut().zip(&other.waits_min).for_each(|(own, more)| own.join(more));
        self.waited += other.waited;
        self.in_vain_min += other.in_vain_min;
        self.by_half.iter_mut().zip(&other.by_half).for_each(|(own, more)| *own += more);
        self.under_two += other.under_two;
        self.short += other.short;
    }

    /// Every figure, in the order of [`Figure::ALL`].
    pub fn figures(&self) -> [f64; FIGURES] {
        Figure::ALL.map(|figure| self.figure(figure))
    }

    /// One figure.
    pub fn figure(&self, figure: Figure) -> f64 {
        let cow_days = (self.cows * self.days).max(1e-9);
        let box_days = (self.boxes * self.days).max(1e-9);
        let box_min = 1440.0 * box_days;
        let waits = || {
            let mut all = self.waits_min[0].clone();
            self.waits_min[1..].iter().for_each(|more| all.join(more));
            all
        };
        match figure {
            Figure::Milkings => self.milkings as f64 / cow_days,
            Figure::TurnedAway => (self.turned_away + self.passed) as f64 / cow_days,
            Figure::Failed => self.failed as f64 / box_days,
            Figure::MilkCow => self.milk_kg / cow_days,
            Figure::MilkBox => self.milk_kg / box_days,
            Figure::Interval => self.intervals_h.mean(),
            Figure::IntervalLow => self.intervals_h.quantile(0.1),
            Figure::IntervalHigh => self.intervals_h.quantile(0.9),
            Figure::OverFourteen => self.intervals_h.share_from(14.0),
            Figure::Wait => {
                self.waits_min.iter().map(Bins::sum).sum::<f64>()
                    / self.waits_min.iter().map(Bins::count).sum::<u64>().max(1) as f64
            }
            Figure::WaitLong => waits().quantile(0.9),
            Figure::WaitLow => self.waits_min[0].mean(),
            Figure::WaitMiddle => self.waits_min[1].mean(),
            Figure::WaitHigh => self.waits_min[2].mean(),
            Figure::Waiting => {
                (self.waits_min.iter().map(Bins::sum).sum::<f64>() + self.in_vain_min) / cow_days
            }
            Figure::GaveUp => self.gave_up as f64 / cow_days,
            Figure::Idle => 1.0 - (self.busy_min + self.closed_min.iter().sum::<f64>()) / box_min,
            Figure::Occupied => self.busy_min / box_min,
            Figure::Closed => self.closed_min.iter().sum::<f64>() / box_min,
            Figure::Brought => self.brought as f64 / cow_days,
            Figure::People => self.people_min / self.days.max(1e-9),
            Figure::UnderTwo => self.under_two as f64 / self.cows.max(1.0),
        }
    }
}

/// How many figures.
pub const FIGURES: usize = 22;

/// A figure of a simulated pen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Figure {
    /// Milkings a cow and day.
    Milkings,
    /// Turned away a cow and day, in the box or at the gate.
    TurnedAway,
    /// Failed a box and day.
    Failed,
    /// Milk a cow and day, kg.
    MilkCow,
    /// Milk a box and day, kg.
    MilkBox,
    /// Mean hours between milkings.
    Interval,
    /// Their 10th percentile.
    IntervalLow,
    /// Their 90th percentile.
    IntervalHigh,
    /// Share of them of 14 h and longer.
    OverFourteen,
    /// Mean minutes from joining the queue to entering.
    Wait,
    /// Their 90th percentile.
    WaitLong,
    /// Of the lowest third of ranks.
    WaitLow,
    /// Of the middle third.
    WaitMiddle,
    /// Of the highest third.
    WaitHigh,
    /// Minutes waited a cow and day, also in vain.
    Waiting,
    /// Times a cow gave up waiting, a cow and day.
    GaveUp,
    /// Share of box time that is idle.
    Idle,
    /// Share with a cow in it.
    Occupied,
    /// Share cleaned, serviced, at fault.
    Closed,
    /// Cows brought by people, a cow and day.
    Brought,
    /// Minutes of people a day that brought them.
    People,
    /// Share of cows with fewer than two milkings a day.
    UnderTwo,
}

impl Figure {
    /// Every figure.
    pub const ALL: [Figure; FIGURES] = [
        Figure::Milkings,
        Figure::TurnedAway,
        Figure::Failed,
        Figure::MilkCow,
        Figure::MilkBox,
        Figure::Interval,
        Figure::IntervalLow,
        Figure::IntervalHigh,
        Figure::OverFourteen,
        Figure::Wait,
        Figure::WaitLong,
        Figure::WaitLow,
        Figure::WaitMiddle,
        Figure::WaitHigh,
        Figure::Waiting,
        Figure::GaveUp,
        Figure::Idle,
        Figure::Occupied,
        Figure::Closed,
        Figure::Brought,
        Figure::People,
        Figure::UnderTwo,
    ];

    /// As answers for programs name it, unit last.
    pub fn word(self) -> &'static str {
        match self {
            Figure::Milkings => "milkings",
            Figure::TurnedAway => "turned-away",
            Figure::Failed => "failed",
            Figure::MilkCow => "milk-cow-kg",
            Figure::MilkBox => "milk-box-kg",
            Figure::Interval => "interval-h",
            Figure::IntervalLow => "interval-10-h",
            Figure::IntervalHigh => "interval-90-h",
            Figure::OverFourteen => "over-14-h",
            Figure::Wait => "wait-min",
            Figure::WaitLong => "wait-90-min",
            Figure::WaitLow => "wait-low-rank-min",
            Figure::WaitMiddle => "wait-middle-rank-min",
            Figure::WaitHigh => "wait-high-rank-min",
            Figure::Waiting => "waiting-min",
            Figure::GaveUp => "gave-up",
            Figure::Idle => "idle",
            Figure::Occupied => "occupied",
            Figure::Closed => "closed",
            Figure::Brought => "fetched",
            Figure::People => "people-min",
            Figure::UnderTwo => "under-2-milkings",
        }
    }
}

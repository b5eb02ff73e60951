//! Replicates of a scenario, gathered as they come; and of two scenarios, replicate by replicate.

use std::sync::atomic::AtomicBool;

use super::{
    counted::{Counted, FIGURES, Figure},
    pen::Pen,
    run::{Days, Room, Tables, run},
    setup::Scenario,
    spread::{Mean, Spread},
};

/// A scenario made ready: its tables are made once.
#[derive(Debug, Clone)]
pub struct Ready {
    pens: Vec<(Pen, Tables)>,
}

impl Ready {
    /// Of a scenario.
    pub fn of(scenario: Scenario) -> Ready {
        let with_tables = |pen: Pen| {
            let tables = Tables::of(&pen);
            (pen, tables)
        };
        Ready { pens: scenario.pens.into_iter().map(with_tables).collect() }
    }

    /// One replicate, all pens counted together; `None` where it is no longer wanted.
    pub fn replicate(
        &self,
        days: Days,
        (seed, replicate): (u64, u32),
        room: &mut Room,
        cancelled: &AtomicBool,
    ) -> Option<Counted> {
        let mut all = Counted::default();
        for (place, (pen, tables)) in self.pens.iter().enumerate() {
            // The second pen's cows are others than the first's.
            let own = seed.wrapping_add((place as u64) << 48);
            all.join(run(pen, tables, days, (own, replicate), room, cancelled)?);
        }
        Some(all)
    }
}

/// Replicates of one scenario, in order.
#[derive(Debug, Clone, Default)]
pub struct Gathered {
    figures: Vec<[f64; FIGURES]>,
    /// All of them together.
    pub all: Counted,
}

impl Gathered {
    /// Adds the next replicate.
    pub fn add(&mut self, counted: &Counted) {
        self.figures.push(counted.figures());
        self.all.join(counted);
    }

    /// How many.
    pub fn count(&self) -> usize {
        self.figures.len()
    }

    /// A figure with its interval.
    pub fn mean(&self, figure: Figure) -> Mean {
        self.of(|own| own[figure as usize])
    }

    /// What follows from the figures of a replicate, with its interval.
    pub fn of(&self, value: impl Fn(&[f64; FIGURES]) -> f64) -> Mean {
        let mut spread = Spread::default();
        self.figures.iter().for_each(|own| spread.add(value(own)));
        spread.mean()
    }

    /// What this has more of than another, replicate by replicate on the same chance, with its interval.
    pub fn beyond(&self, other: &Gathered, value: impl Fn(&[f64; FIGURES]) -> f64) -> Mean {
        let mut spread = Spread::default();
        self.figures.iter().zip(&other.figures).for_each(|(own, less)| spread.add(value(own) - value(less)));
        spread.mean()
    }

    /// The same where what follows hangs on the boxes too: this one's are the second of `boxes`, the other's the first.
    pub fn less(&self, other: &Gathered, boxes: [usize; 2], value: &dyn Fn(&[f64], usize) -> f64) -> Mean {
        let mut spread = Spread::default();
        for (own, less) in self.figures.iter().zip(&other.figures) {
            spread.add(value(own, boxes[1]) - value(less, boxes[0]));
        }
        spread.mean()
    }

    /// A figure of each replicate.
    pub fn each(&self, figure: Figure) -> impl Iterator<Item = f64> {
        self.figures.iter().map(move |own| own[figure as usize])
    }

    /// Sure enough: milkings to a hundredth, idle share to `share`.
    pub fn is_sure(&self, share: f64) -> bool {
        let (milkings, idle) = (self.mean(Figure::Milkings), self.mean(Figure::Idle));
        milkings.half() <= 0.01 * milkings.mean && idle.half() <= share
    }
}

/// What follows with so many cows, a value a replicate: straight between the herd sizes tried. `None` beyond them.
///
/// `sizes` in rising order, each with its replicates.
pub fn with_cows(
    sizes: &[(usize, &Gathered)],
    cows: usize,
    value: &dyn Fn(&[f64]) -> f64,
) -> Option<Vec<f64>> {
    let right = sizes.iter().position(|(size, _)| cows <= *size)?;
    let (size, above) = sizes[right];
    if size == cows {
        return Some(above.figures.iter().map(|own| value(own)).collect());
    }
    let (smaller, below) = *sizes.get(right.checked_sub(1)?)?;
    let part = (cows - smaller) as f64 / (size - smaller) as f64;
    let pairs = below.figures.iter().zip(&above.figures);
    Some(pairs.map(|(low, high)| value(low) + part * (value(high) - value(low))).collect())
}

/// What one list of replicates has more of than another, on the same chance, with its interval.
pub fn paired(own: &[f64], less: &[f64]) -> Mean {
    let mut spread = Spread::default();
    own.iter().zip(less).for_each(|(own, less)| spread.add(own - less));
    spread.mean()
}

/// How many cows leave a share of box time idle: where each replicate's idle share falls through it, straight between
/// the herd sizes tried. `None` where the sizes do not reach it in every replicate.
///
/// `sizes` in rising order, each with its replicates.
pub fn capacities(sizes: &[(usize, &Gathered)], idle: f64) -> Option<Vec<f64>> {
    let replicates = sizes.iter().map(|(_, gathered)| gathered.count()).min()?;
    let mut all = Vec::new();
    for replicate in 0..replicates {
        let idles: Vec<(f64, f64)> = sizes
            .iter()
            .filter_map(|(cows, gathered)| Some((*cows as f64, gathered.each(Figure::Idle).nth(replicate)?)))
            .collect();
        let through = idles.windows(2).find(|pair| idle <= pair[0].1 && pair[1].1 < idle)?;
        let (left, right) = (through[0], through[1]);
        all.push(left.0 + (left.1 - idle) / (left.1 - right.1) * (right.0 - left.0));
    }
    Some(all)
}

/// The same with its interval.
pub fn capacity(sizes: &[(usize, &Gathered)], idle: f64) -> Option<Mean> {
    let mut spread = Spread::default();
    capacities(sizes, idle)?.into_iter().for_each(|cows| spread.add(cows));
    Some(spread.mean())
}

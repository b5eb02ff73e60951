//! A plan reckoned: replicates on several threads, folded in their order, told as they come.
//!
//! Work goes replicate by replicate over all herd sizes and both scenarios, so that a first picture of everything is there
//! early. When to stop is decided on whole replicates in their order: the answer does not hang on the number of threads.

use std::{
    collections::BTreeMap,
    sync::{
        atomic::{AtomicBool, AtomicUsize, Ordering},
        mpsc,
    },
    thread,
};

use cowpath_core::{
    minutes::terms::Terms,
    say::plan as say,
    traffic::{
        Change, Counted, Days, Fault, Figure, Gathered, Mean, Ready, Room, Setup, capacity, money_day,
    },
    units::{Kilograms, UnitSystem},
};

use super::plan::{AskedPlan, Difference, Plan, PlanRow, PlanScenario};
use super::plan_ground::Beside;
use super::{meters, plan_beyond, plan_fetch, plan_sizes};
use crate::trouble::user;

/// Replicates before an answer can be sure, and at most, where none were asked for.
pub const UNTIL_SURE: (u32, u32) = (5, 40);
/// Idle share that is sure enough.
const SURE_IDLE: f64 = 0.01;
/// Most cows times days times replicates of a plan: some minutes.
const MOST_WORK: f64 = 4e8;

/// What a plan starts from: the farm's pens, and what is to be said of them.
#[derive(Debug, Clone)]
pub struct Ground {
    /// The farm as it is.
    pub setup: Setup,
    /// Name of the farm.
    pub farm: String,
    /// What it rests on.
    pub basis: String,
    /// Whether the farm's logs went in.
    pub fitted: bool,
    /// What the reader should know.
    pub notes: Vec<String>,
    /// The units sentences are in.
    pub units: UnitSystem,
    /// The fitted pens beside the log; empty without a fit.
    pub beside: Vec<Beside>,
    /// The farm's terms, or the stated ones.
    pub terms: Terms,
    /// Cows of the farm now; `None` where no log tells.
    pub cows_now: Option<usize>,
}

impl Ground {
    /// Says first which meters are in doubt: milk of a fitted farm is as they wrote it.
    pub fn doubt(&mut self, doubts: &[meters::Doubt]) {
        if self.fitted {
            self.notes.splice(0..0, meters::notes(doubts, meters::Milk::Logged, jiff::civil::Date::MAX));
        }
    }

    /// Where nothing is known.
    pub fn stated() -> Ground {
        Ground {
            setup: Setup::usual(60, 1),
            farm: String::new(),
            basis: "stated defaults".into(),
            fitted: false,
            notes: vec![
                "No logs went in: cows, visits and coming are as in published herds, and what nobody published is a stated default."
                    .into(),
            ],
            units: UnitSystem::Metric,
            beside: Vec::new(),
            terms: Terms::default(),
            cows_now: None,
        }
    }
}

/// A plan that was looked over and can be run.
pub struct Prepared<'a> {
    ground: &'a Ground,
    asked: &'a AskedPlan,
    /// First and second scenario: words, boxes.
    scenarios: Vec<(&'static str, String, usize)>,
    /// Cells, the herd sizes within each scenario.
    cells: Vec<Ready>,
}

/// A fault of a pen, as an error of the user's.
fn refused(fault: &Fault) -> anyhow::Error {
    let next = match fault {
        Fault::NoBoxes => "name at least one box",
        Fault::NoCows => "name at least one cow",
        Fault::TooManyBoxes(_) | Fault::TooManyCows(_) => "plan one pen at a time",
        Fault::Contradiction { .. } => "shorten the shortest interval or lengthen the longest",
        Fault::NoRound(..) => "name a round within those hours, or none",
        Fault::Range { .. } => "write a figure within the range",
    };
    user(fault.to_string(), "nothing was reckoned or changed", next)
}

/// Looks a plan over.
///
/// # Errors
/// Where it cannot be, in words for the user.
pub fn prepare<'a>(ground: &'a Ground, asked: &'a AskedPlan) -> anyhow::Result<Prepared<'a>> {
    let nothing = "nothing was reckoned or changed";
    if asked.cows.is_empty() {
        return Err(user("no herd size was named", nothing, "name at least one, like 60 or 100-140/10"));
    }
    if plan_sizes::MOST_SIZES < asked.cows.len() {
        return Err(user(plan_sizes::too_many(asked.cows.len()), nothing, "name fewer of them"));
    }
    let most = asked.replicates.unwrap_or(UNTIL_SURE.1);
    if most == 0 || !(1.0..=2000.0).contains(&asked.days) {
        return Err(user(
            "a plan needs at least one replicate and 1 to 2,000 days",
            nothing,
            "leave both out for the usual ones",
        ));
    }
    let cows: usize = asked.cows.iter().sum();
    let both = if asked.instead.is_some() { 2.0 } else { 1.0 };
    if MOST_WORK < cows as f64 * asked.days * f64::from(most) * both {
        return Err(user(
            "this plan would take hours",
            nothing,
            "ask for fewer herd sizes, replicates or days",
        ));
    }
    let first = asked.change.of(&ground.setup);
    let mut scenarios = vec![("as asked", say::change(&asked.change), first.boxes)];
    let mut setups = vec![first.clone()];
    if let Some(instead) = &asked.instead {
        let second = instead.of(&first);
        scenarios.push(("instead", say::change(instead), second.boxes));
        setups.push(second);
    }
    let mut cells = Vec::new();
    for (place, setup) in setups.iter().enumerate() {
        for cows in &asked.cows {
            // A second scenario may name its own number of cows.
            let own = asked.instead.as_ref().filter(|_| place == 1).and_then(|instead| instead.cows);
            let scenario = setup.of_cows(own.unwrap_or(*cows)).scenario().map_err(|fault| refused(&fault))?;
            cells.push(Ready::of(scenario));
        }
    }
    Ok(Prepared { ground, asked, scenarios, cells })
}

impl Prepared<'_> {
    /// Reckons it on `threads` threads; `told` hears of every further replicate. `None` where it was cancelled; then no
    /// thread is left.
    pub fn run(&self, threads: usize, cancelled: &AtomicBool, told: &mut dyn FnMut(Plan)) -> Option<Plan> {
        let exact = self.asked.replicates;
        let most = exact.unwrap_or(UNTIL_SURE.1);
        let least = exact.unwrap_or(UNTIL_SURE.0.min(most));
        let days = Days { counted: self.asked.days, ..Days::default() };
        let work = self.cells.len() * most as usize;
        let next = AtomicUsize::new(0);
        // Cancelled from outside, or sure enough.
        let enough = AtomicBool::new(false);
        let mut gathered: Vec<Gathered> = vec![Gathered::default(); self.cells.len()];
        let (send, receive) = mpsc::sync_channel::<(usize, Counted)>(4 * threads.max(1));
        let whole = thread::scope(|scope| {
            for _ in 0..threads.clamp(1, work.max(1)) {
                let (send, next, enough) = (send.clone(), &next, &enough);
                scope.spawn(move || {
                    let mut room = Room::default();
                    loop {
                        let item = next.fetch_add(1, Ordering::Relaxed);
                        if work <= item || enough.load(Ordering::Relaxed) || cancelled.load(Ordering::Relaxed)
                        {
                            return;
                        }
                        let (replicate, cell) = (item / self.cells.len(), item % self.cells.len());
                        let luck = (self.asked.seed, replicate as u32);
                        // Whoever cancels wins; a plan that is sure lets the last replicates end, which are short.
                        let Some(counted) = self.cells[cell].replicate(days, luck, &mut room, cancelled)
                        else {
                            return;
                        };
                        if send.send((item, counted)).is_err() {
                            return;
                        }
                    }
                });
            }
            drop(send);
            let mut waiting: BTreeMap<usize, Counted> = BTreeMap::new();
            let mut folded = 0;
            while let Ok((item, counted)) = receive.recv() {
                waiting.insert(item, counted);
                while let Some(counted) = waiting.remove(&folded) {
                    if enough.load(Ordering::Relaxed) {
                        break;
                    }
                    gathered[folded % self.cells.len()].add(&counted);
                    folded += 1;
                    if folded < self.cells.len() {
                        // The first figures are not kept back until all of them are there.
                        told(self.plan(&gathered, false));
                    } else if folded % self.cells.len() == 0 {
                        let count = (folded / self.cells.len()) as u32;
                        let sure = gathered.iter().all(|own| own.is_sure(SURE_IDLE));
                        if (exact.is_none() && least <= count && sure) || count == most {
                            enough.store(true, Ordering::Relaxed);
                        } else {
                            told(self.plan(&gathered, false));
                        }
                    }
                }
            }
            enough.load(Ordering::Relaxed)
        });
        whole.then(|| self.plan(&gathered, true))
    }

    fn plan(&self, gathered: &[Gathered], done: bool) -> Plan {
        let (ground, asked) = (self.ground, self.asked);
        let sizes = asked.cows.len();
        let begun = gathered.iter().filter(|own| 0 < own.count()).count();
        let part = |place: usize| &gathered[place * sizes..(place + 1) * sizes];
        let mut scenarios: Vec<PlanScenario> = self
            .scenarios
            .iter()
            .enumerate()
            .map(|(place, (name, words, boxes))| self.scenario(name, words, *boxes, part(place), place))
            .collect();
        if begun == self.cells.len() {
            self.compare(&mut scenarios, &part);
        }
        let untold = plan_fetch::untold(ground, asked);
        let of_both = scenarios.get(1).filter(|_| !untold).map_or(0, |second| second.rows.len());
        let differences: Vec<Difference> =
            (0..of_both).map(|size| self.difference(size, &part(0)[size], &part(1)[size])).collect();
        let mut plan = Plan {
            farm: ground.farm.clone(),
            basis: ground.basis.clone(),
            fitted: ground.fitted,
            notes: ground.notes.clone(),
            beside: ground.beside.clone(),
            seed: asked.seed,
            days: asked.days,
            replicates: gathered.iter().map(Gathered::count).min().unwrap_or(0),
            most_replicates: asked.replicates.unwrap_or(UNTIL_SURE.1),
            cows_now: ground.cows_now,
            fetching_known: !plan_fetch::unknown(ground),
            done,
            sure: gathered.iter().all(|own| own.is_sure(SURE_IDLE)),
            sentences: Vec::new(),
            scenarios,
            differences,
            terms: asked.terms.clone(),
            bounds: asked.bounds,
        };
        plan.sentences = if begun < self.cells.len() {
            vec![say::begun(begun, self.cells.len())]
        } else {
            super::plan_words::sentences(&plan, asked, ground)
        };
        plan
    }

    fn scenario(
        &self,
        name: &'static str,
        words: &str,
        boxes: usize,
        gathered: &[Gathered],
        place: usize,
    ) -> PlanScenario {
        let asked = self.asked;
        let own = asked.instead.as_ref().filter(|_| place == 1).and_then(|instead| instead.cows);
        // Those that a first replicate has not come to have no figures.
        let of_sizes: Vec<(usize, &Gathered)> =
            asked.cows.iter().copied().zip(gathered).filter(|(_, own)| 0 < own.count()).collect();
        let rows = of_sizes.iter().map(|(cows, gathered)| PlanRow {
            cows: own.unwrap_or(*cows),
            figures: figures(|figure| gathered.mean(figure)),
            money: gathered.of(|figures| money_day(&asked.terms, figures, boxes)),
            exceeded: asked.bounds.exceeded(gathered, boxes),
            intervals: gathered.all.intervals_h.shares(48).into_iter().take(24).collect(),
            by_hour: by_hour(&gathered.all),
        });
        PlanScenario {
            name,
            words: words.to_owned(),
            boxes,
            fetched_unknown: plan_fetch::unknown(self.ground)
                && asked.change.fetch_h.is_none()
                && (place == 0 || asked.instead.as_ref().is_none_or(|own| own.fetch_h.is_none())),
            capacity: if own.is_some() { None } else { capacity(&of_sizes, asked.bounds.idle) },
            beyond: None,
            rows: rows.collect(),
        }
    }

    /// What the cows that fit bring: against now, and of the second scenario against the first.
    fn compare<'b>(&self, scenarios: &mut [PlanScenario], part: &impl Fn(usize) -> &'b [Gathered]) {
        let asked = self.asked;
        let of =
            |place: usize| (asked.cows.iter().copied().zip(part(place)).collect(), self.scenarios[place].2);
        let first: plan_beyond::Sizes<'_> = of(0);
        if let (Some(scenario), Some(now)) = (scenarios.first_mut(), self.ground.cows_now) {
            scenario.beyond = plan_beyond::than_now(&first, now, asked);
        }
        // A second scenario of a number of cows of its own has no other sizes.
        let untold = plan_fetch::untold(self.ground, asked);
        if let Some(second) = scenarios.get_mut(1).filter(|second| !untold && second.capacity.is_some()) {
            second.beyond = plan_beyond::than_asked(&first, &of(1), asked);
        }
    }

    fn difference(&self, size: usize, first: &Gathered, second: &Gathered) -> Difference {
        let boxes = [self.scenarios[0].2, self.scenarios[1].2];
        let between = |value: &dyn Fn(&[f64], usize) -> f64| second.less(first, boxes, value);
        Difference {
            cows: self.asked.cows[size],
            figures: figures(|figure| second.beyond(first, |own| own[figure as usize])),
            milk_kg: between(&|own, boxes| own[Figure::MilkBox as usize] * boxes as f64),
            money: between(&|own, boxes| money_day(&self.asked.terms, own, boxes)),
        }
    }
}

/// Figures by name.
fn figures(of: impl Fn(Figure) -> Mean) -> BTreeMap<&'static str, Mean> {
    Figure::ALL.into_iter().map(|figure| (figure.word(), of(figure))).collect()
}

/// Visits a box and hour.
fn by_hour(all: &Counted) -> Vec<f64> {
    // Boxes add up over replicates, days do not.
    let box_days = (all.boxes * all.days).max(1e-9);
    all.by_half
        .chunks(2)
        .map(|pair| pair.iter().map(|count| f64::from(*count)).sum::<f64>() / box_days)
        .collect()
}

/// A mass in the farm's unit.
pub fn mass(mean: Mean, units: UnitSystem) -> (Mean, &'static str) {
    match units {
        UnitSystem::Metric => (mean, "kg"),
        UnitSystem::Us => (mean.times(Kilograms(1.0).pounds()), "lb"),
    }
}

/// The words of a change, as a user's error.
pub fn change(words: &str) -> anyhow::Result<Change> {
    Change::read(words).map_err(|why| {
        user(
            why,
            "nothing was reckoned or changed",
            "write a scenario like \"boxes=3 fetch=6/14/22 feed=8/16 shortest=+1\"",
        )
    })
}

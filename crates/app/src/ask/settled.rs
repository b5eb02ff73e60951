//! Each cow's curve from her own last two weeks: rate, handling, flow, how often she comes; and what the boxes had to do.

use std::collections::{BTreeMap, BTreeSet};

use cowpath_core::{
    coming::limits::{Hers, Limits},
    expect::secretion::g,
    herd::{Life, LifeKey, Stage},
    minutes::{
        intervals::Cow,
        ledger::{self, Spent, Stay, Use},
        terms::{Group, Terms},
    },
    tables::Outcome,
    time::hours_between,
};
use jiff::{SignedDuration, Timestamp};

use super::{dear::middle, farm::Barn, intervals::LeftOut, minute_rows, view::View};

/// Days a cow's handling, flow and habit are taken from.
pub(super) const SPAN: SignedDuration = SignedDuration::from_hours(24 * 14);
/// A box without a visit for so long is not counted on.
const BOX_SILENT: SignedDuration = SignedDuration::from_hours(72);
/// After so long without a milking a cow is taken to be dry or gone, as the round does.
const GONE_AFTER_H: f64 = 21.0 * 24.0;
/// Milkings that the herd's mean counts for beside a cow's own.
const HERDS_MILKINGS: f64 = 5.0;
/// Handling where no seconds of flow are logged, min: `sources.md` §1, practice.
const HANDLING_MIN: f64 = 2.0;
/// Flow where nothing is known, kg/min: `sources.md` §1.
const FLOW_KG_MIN: f64 = 2.5;
/// Intervals from which her shortest are told.
const FEWEST_FOR_TENTH: usize = 8;
const DAY_MS: i64 = 86_400_000;
/// Longer ones are no interval: a row may be missing.
const LONGEST_H: f64 = 36.0;

/// One cow.
pub(super) struct Curve<'a> {
    pub(super) life: &'a Life,
    pub(super) stage: Stage,
    pub(super) group: Group,
    pub(super) cow: Cow,
    /// Of the log of her rate, of her handling (min), of the log of her flow.
    pub(super) rate_sd: f64,
    pub(super) handling_sd: f64,
    pub(super) flow_sd: f64,
    pub(super) now_h: f64,
    pub(super) hours: Vec<f64>,
    pub(super) milkings: u32,
    pub(super) assumed: Vec<&'static str>,
    /// Times a day she was turned away.
    pub(super) turned_day: f64,
    /// When she is to be brought in, h.
    pub(super) fetch_h: f64,
}

/// What boxes had to do, min a day, all together.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Load {
    pub(super) boxes: usize,
    pub(super) states: f64,
    pub(super) other_visits: f64,
    pub(super) milking: f64,
    /// Days it was taken from.
    pub(super) days: f64,
}

/// The herd's curves and its boxes' load.
pub(super) struct Stand<'a> {
    pub(super) curves: Vec<Curve<'a>>,
    pub(super) left_out: Vec<LeftOut>,
    pub(super) load: Load,
    /// What cows wait from when they may come until they do, h: middle of mean less tenth of intervals.
    pub(super) wait_h: Option<f64>,
    /// Whether any seconds of flow are logged.
    pub(super) flows_logged: bool,
}

#[derive(Default)]
struct Own {
    ends: Vec<Timestamp>,
    turned: u32,
    /// With seconds of flow: handling each, flow minutes.
    handling: Vec<f64>,
    flow_min: f64,
    /// Without: minutes in the box, milkings.
    whole: (f64, u32),
}

/// How cows and boxes stood at a view's time, from rows that had ended by then.
pub(super) fn stand<'a>(
    barn: &Barn,
    view: &'a View,
    terms: &Terms,
    limits: &Limits,
) -> anyhow::Result<Stand<'a>> {
    let at = view.at;
    let mut rows = minute_rows::rows(barn, at.saturating_sub(SPAN)?, at)?;
    rows.visits.values_mut().for_each(|own| own.retain(|(_, visit)| visit.ended_at <= at));
    let at_ms = at.as_millisecond();
    rows.states.values_mut().for_each(|own| own.retain(|state| state.to <= at_ms));
    let load = load(&rows, at);
    let mut owns: BTreeMap<LifeKey, Own> = BTreeMap::new();
    for (number, visit) in rows.visits.values().flatten() {
        let Some(life) = view.cast.life(*number, visit.started_at) else { continue };
        let stay = Stay::of(*number, visit);
        let own = owns.entry(life.key).or_default();
        own.turned += u32::from(visit.outcome == Some(Outcome::TurnedAway));
        if !stay.milked() && visit.outcome != Some(Outcome::Incomplete) {
            continue;
        }
        own.ends.push(visit.ended_at);
        let minutes = (stay.to - stay.from) as f64 / 60_000.0;
        match stay.longest_s() {
            Some((longest_s, _)) if 0.0 < longest_s && longest_s / 60.0 <= minutes => {
                own.handling.push(minutes - longest_s / 60.0);
                own.flow_min += longest_s / 60.0;
            }
            _ => own.whole = (own.whole.0 + minutes, own.whole.1 + 1),
        }
    }
    let present = view.cast.lives.iter().filter(|life| life.present(at));
    let mut habits = Vec::new();
    for life in present {
        let stage = life.stage(at);
        if !stage.dry {
            habits.push((life, habit(view, life, stage, owns.remove(&life.key))));
        }
    }
    let of_herd = Herds::of(habits.iter().filter_map(|(_, habit)| habit.as_ref().ok()));
    let (mut curves, mut left_out) = (Vec::new(), Vec::new());
    for (life, habit) in habits {
        match habit {
            Ok(habit) => curves.push(curve(view, life, habit, &of_herd, load.days, terms, limits)),
            Err(Some(why)) => left_out.push(LeftOut { animal: life.animal.clone(), why: why.into() }),
            Err(None) => {}
        }
    }
    let wait_h = middle(curves.iter().filter_map(|curve| {
        let mut hours = curve.hours.clone();
        hours.sort_by(f64::total_cmp);
        (FEWEST_FOR_TENTH <= hours.len()).then(|| (curve.now_h - hours[hours.len() / 10]).max(0.0))
    }));
    // The farm's shortest interval is what a box is set to: her mean is longer by what she waits before she comes.
    for curve in &mut curves {
        curve.cow.low_h = (curve.cow.low_h + wait_h.unwrap_or(0.0)).min(curve.cow.high_h);
    }
    Ok(Stand { curves, left_out, load, wait_h, flows_logged: of_herd.flows_logged })
}

/// The days of [`SPAN`] on which a box has a visit, each 24 hours back from `at_ms`, the first from its first visit on: rows of
/// other kinds may reach back further, and a day of which no visit was read is no day of idle boxes.
fn days_with_visits(rows: &minute_rows::Rows, at_ms: i64) -> Vec<[i64; 2]> {
    let mut first: BTreeMap<i64, i64> = BTreeMap::new();
    let span = SPAN.as_millis() as i64;
    for (_, visit) in rows.visits.values().flatten() {
        let started = visit.started_at.as_millisecond();
        if at_ms - span <= started && started < at_ms {
            let own = first.entry(-((at_ms - 1 - started) / DAY_MS)).or_insert(started);
            *own = started.min(*own);
        }
    }
    let oldest = first.keys().next().copied();
    let span_of = |(day, started): (i64, i64)| {
        let ends = at_ms + day * DAY_MS;
        [if Some(day) == oldest { started } else { ends - DAY_MS }, ends]
    };
    first.into_iter().map(span_of).collect()
}

fn load(rows: &minute_rows::Rows, at: Timestamp) -> Load {
    let spans = days_with_visits(rows, at.as_millisecond());
    let days = spans.iter().map(|[from, to]| to - from).sum::<i64>() as f64 / DAY_MS as f64;
    let cuts: Vec<i64> = spans.iter().flatten().copied().collect::<BTreeSet<_>>().into_iter().collect();
    let mut load = Load { days, ..Load::default() };
    for (key, visits) in &rows.visits {
        let newest = visits.iter().map(|(_, visit)| visit.ended_at).max();
        if days <= 0.0 || newest.is_none_or(|newest| BOX_SILENT < at.duration_since(newest)) {
            continue;
        }
        let stays: Vec<Stay> = visits.iter().map(|(cow, visit)| Stay::of(*cow, visit)).collect();
        let states = rows.states.get(key).map_or(&[][..], Vec::as_slice);
        let told = ledger::ledger(&cuts, &stays, states, i64::MAX);
        let mut spent = Spent::default();
        let counted = cuts.windows(2).zip(&told.pieces).filter(|(cut, _)| spans.iter().any(|own| own == cut));
        counted.for_each(|(_, piece)| spent.add(piece));
        let a_day = |ms: i64| ms as f64 / 60_000.0 / days;
        let of = |uses: &[Use]| a_day(uses.iter().map(|of| spent.of(*of)).sum());
        load.boxes += 1;
        load.states += of(&[Use::Cleaning, Use::Service, Use::Fault, Use::Off]);
        load.other_visits += of(&[Use::TurnedAway, Use::FedOnly, Use::Failed]);
        // One of which some milk was missed is a milking too: her next interval begins with it.
        load.milking += a_day(spent.milking() + spent.of(Use::Incomplete));
    }
    load
}

/// What the herd's cows have in common, for those of whom little is known.
struct Herds {
    handling_min: f64,
    /// Spread of one milking's handling, min.
    handling_sd: f64,
    pace_min_kg: f64,
    milking_kg: f64,
    flows_logged: bool,
}

impl Herds {
    fn of<'h>(habits: impl Iterator<Item = &'h Habit> + Clone) -> Herds {
        let all = || habits.clone().flat_map(|habit| &habit.own.handling);
        let number = all().count() as f64;
        let kg: f64 = habits.clone().map(|habit| habit.own.handling.len() as f64 * habit.milking_kg).sum();
        let flow_min: f64 = habits.clone().map(|habit| habit.own.flow_min).sum();
        if number < 1.0 || kg <= 0.0 || flow_min <= 0.0 {
            return Herds {
                handling_min: HANDLING_MIN,
                handling_sd: 1.0,
                pace_min_kg: 1.0 / FLOW_KG_MIN,
                milking_kg: 10.0,
                flows_logged: false,
            };
        }
        let mean = all().sum::<f64>() / number;
        let var = all().map(|own| (own - mean).powi(2)).sum::<f64>() / number;
        Herds {
            handling_min: mean,
            handling_sd: var.sqrt().max(0.05),
            pace_min_kg: flow_min / kg,
            milking_kg: kg / number,
            flows_logged: true,
        }
    }
}

/// What a cow does now.
struct Habit {
    stage: Stage,
    own: Own,
    hours: Vec<f64>,
    /// Their mean.
    now_h: f64,
    rate_kg_h: f64,
    left_kg: f64,
    /// Milk of a milking after `now_h`, by her curve: what her meters told, less what is their boxes' and not hers.
    milking_kg: f64,
}

/// What a cow does now; `Err(None)`: nothing says that she is in milk; `Err(Some)`: why she is left out.
fn habit(view: &View, life: &Life, stage: Stage, own: Option<Own>) -> Result<Habit, Option<&'static str>> {
    let (at, herd) = (view.at, &view.rolled.herd);
    let Some(mut own) = own.filter(|own| !own.ends.is_empty()) else {
        let recent = herd.last_milking(life.key).is_some_and(|last| hours_between(last, at) < GONE_AFTER_H)
            || stage.days_in_milk.is_some_and(|days| days < GONE_AFTER_H / 24.0);
        return Err(recent.then_some("no milking in the last two weeks"));
    };
    own.ends.sort_unstable();
    // Only of this lactation.
    own.ends.retain(|end| stage.calved_at.is_none_or(|calved| calved <= *end));
    let hours: Vec<f64> = own
        .ends
        .windows(2)
        .map(|two| hours_between(two[0], two[1]))
        .filter(|hours| 0.1 < *hours && *hours < LONGEST_H)
        .collect();
    if hours.len() < 2 {
        return Err(Some("fewer than three milkings in the last two weeks"));
    }
    let Some((rate_kg_h, left_kg)) = herd.filling(life.key, &stage).filter(|(rate, _)| 0.0 < *rate) else {
        return Err(Some("nothing is known of her milk"));
    };
    let now_h = hours.iter().sum::<f64>() / hours.len() as f64;
    let milking_kg = rate_kg_h * g(now_h, herd.parameters().kappa_per_h);
    Ok(Habit { stage, own, hours, now_h, rate_kg_h, left_kg, milking_kg })
}

/// A cow's curve.
///
/// Her flow is the milk of her curve over her minutes of flow, both of a milking of now: so a meter that reads amiss weighs on
/// neither, and at the interval she has now the curve takes the minutes that the log shows, drawn a little to the herd's.
fn curve<'a>(
    view: &View,
    life: &'a Life,
    habit: Habit,
    herds: &Herds,
    days: f64,
    terms: &Terms,
    limits: &Limits,
) -> Curve<'a> {
    let Habit { stage, own, hours, now_h, rate_kg_h, left_kg, milking_kg } = habit;
    let herd = &view.rolled.herd;
    let mut assumed = Vec::new();
    let number = own.handling.len() as f64;
    let mut handling_min =
        (own.handling.iter().sum::<f64>() + HERDS_MILKINGS * herds.handling_min) / (number + HERDS_MILKINGS);
    let beside_kg = HERDS_MILKINGS * herds.milking_kg;
    let mut pace = (own.flow_min + beside_kg * herds.pace_min_kg) / (number * milking_kg + beside_kg);
    if number < 1.0 {
        assumed.push("handling");
        handling_min = herds.handling_min;
        let (minutes, milkings) = own.whole;
        // Her whole stay, less handling of the herd's length.
        let flow_min = minutes - handling_min * f64::from(milkings);
        if 0.0 < flow_min {
            pace = flow_min / (f64::from(milkings) * milking_kg);
        } else {
            assumed.push("flow");
        }
    }
    let first = stage.parity.map(|parity| parity <= 1);
    let group = terms.group(stage.days_in_milk, first);
    let (low_h, high_h) = terms.limits(group);
    let kappa_per_h = herd.parameters().kappa_per_h;
    let hers = Hers { days: stage.days_in_milk, first, treated: false, rate_kg_h: Some(rate_kg_h), left_kg };
    Curve {
        life,
        stage,
        group,
        cow: Cow { rate_kg_h, kappa_per_h, handling_min, flow_kg_min: 1.0 / pace.max(0.02), low_h, high_h },
        rate_sd: herd.filling_sd(life.key).unwrap_or(0.3),
        handling_sd: herds.handling_sd / (number + HERDS_MILKINGS).sqrt(),
        flow_sd: 0.25 / (number + HERDS_MILKINGS).sqrt(),
        now_h,
        milkings: own.ends.len() as u32,
        hours,
        assumed,
        turned_day: f64::from(own.turned) / days.max(1.0),
        fetch_h: limits.of(&hers, kappa_per_h).hours,
    }
}

impl Curve<'_> {
    /// Her as another κ would have her: what she gives at the interval she has now is known, and stays.
    pub(super) fn with_kappa(&self, kappa_per_h: f64) -> Cow {
        let rate = self.cow.rate_kg_h * g(self.now_h, self.cow.kappa_per_h) / g(self.now_h, kappa_per_h);
        Cow { rate_kg_h: rate, kappa_per_h, ..self.cow }
    }
}

//! Makes the list of whom to bring in: reads two weeks of who came when, looks a day ahead of each cow, chooses and orders.

use std::collections::{BTreeMap, BTreeSet};

use cowpath_core::{
    coming::{
        self, Ahead, Candidate, Chances, Course, Fits, Seen,
        ahead::chances,
        halves,
        limits::{Hers, Limits, Stretch, in_udder_kg},
        list::{Listed, Room},
        wait::Wait,
    },
    herd::{Life, LifeKey, Stage},
    say::{bring_in as words, summary::Lacks, when},
    tables::{Outcome, Visit},
    time::{WallClock, hours_between},
};
use cowpath_store::Brought;
use jiff::{SignedDuration, Timestamp};

use super::{
    away::GONE_AFTER_H,
    bring_in::{BringIn, Brings, Expected, Missing},
    bring_shown::{away, brings, by_hour, expected, model_words, notes, waits},
    farm::Barn,
    habits::{self, InUse, Pens},
    refused,
    round::Round,
    view::View,
};

/// A cow without a milking for so long is looked for, and not brought in.
const AWAY_AFTER_H: f64 = 48.0;
/// A box without a visit for so long is not counted on.
const BOX_SILENT: SignedDuration = SignedDuration::from_hours(6);
/// Minutes from one cow's exit to the next one's entry: stated default.
const CHANGE_MIN: f64 = 1.0;
/// Minutes of a milking where none was seen: `sources.md` §1, practice.
const MILKING_MIN: f64 = 7.0;

/// One cow in milk.
pub(super) struct Cow<'a> {
    pub(super) life: &'a Life,
    pub(super) pen: usize,
    pub(super) stage: Stage,
    pub(super) since: Timestamp,
    pub(super) since_h: f64,
    pub(super) limit: Stretch,
    pub(super) expected_kg: Option<f64>,
    pub(super) chances: Chances,
    pub(super) treated: bool,
    pub(super) unmilked: bool,
}

/// Visits of the last weeks, by cow.
struct Rows<'a> {
    of: BTreeMap<LifeKey, (&'a Life, Vec<Seen>)>,
    used: BTreeMap<(Option<&'a str>, u16), u64>,
    /// Of each box: minutes in milkings, their number, and the end of its last visit.
    boxes: BTreeMap<u16, (f64, f64, Timestamp)>,
}

/// The list as the farm stood in a view; `round` is that view's, for what it says of the cows.
pub fn of_view(barn: &Barn, view: &View, round: &Round) -> anyhow::Result<BringIn> {
    let _held = barn.store.hold()?;
    let (at, zone) = (view.at, &view.ways.zone);
    let limits = barn.store.settings()?.limits;
    let InUse { fits, fitted, .. } = view.fits(barn)?;
    let fitted = *fitted;
    let from = at.saturating_sub(habits::SPAN)?;
    let rows = read(barn, view, from)?;
    let pens = Pens::read(barn, &rows.used, (from, at))?;
    let marks = barn.store.brought(from.saturating_sub(habits::SPAN)?, Timestamp::MAX)?;
    let (mut cows, mut missing) = (Vec::new(), Vec::new());
    let mut clock = WallClock::new(zone.clone());
    for life in view.cast.lives.iter().filter(|life| life.present(at)) {
        let stage = life.stage(at);
        if stage.dry {
            continue;
        }
        match stand(view, &rows, &pens, fits, &limits, &marks, round, &mut clock, life, stage) {
            Stands::InMilk(cow) => cows.push(*cow),
            Stands::Away(one) => missing.push(one),
            Stands::Absent => {}
        }
    }
    let rooms = rooms(&rows, &pens, at);
    let listed = coming::list::bring(&candidates(&cows, &limits), &rooms, limits.unlikely);
    let order = walking_order(view, &pens);
    let mut bring: Vec<&Listed> = listed.bring.iter().collect();
    bring.sort_by_key(|own| (order[cows[own.cow].pen], own.hour));
    let shown = |cow: &Cow<'_>| waits(view, &pens, cow);
    let bring: Vec<Brings> = bring
        .into_iter()
        .map(|own| brings(view, round, &limits, &marks, &cows[own.cow], own.hour, shown(&cows[own.cow])))
        .collect();
    let mut rest: Vec<Expected> = listed.rest.iter().map(|cow| expected(view, shown(&cows[*cow]))).collect();
    // RFC 3339 in one zone; where the clock is set back an hour the order of two rows may be off by it.
    rest.sort_by(|one, other| {
        (one.cow.by.is_none(), &one.cow.by, &one.cow.animal).cmp(&(
            other.cow.by.is_none(),
            &other.cow.by,
            &other.cow.animal,
        ))
    });
    let later = bring.iter().filter(|own| own.from_words != "now").count();
    let newest = view.newest.unwrap_or(at);
    let answer = BringIn {
        farm: view.ways.name.clone(),
        at: when::rfc3339(at, zone),
        at_words: when::heading(at, newest, zone),
        last_row_words: view.known.map_or(String::new(), |last| when::instant(last, at, zone)),
        model: model_words(fits, fitted, view),
        summary: words::summary(bring.len() - later, later, missing.len(), rest.len()),
        bring,
        missing,
        by_hour: by_hour(view, &rest),
        rest,
        cautions: words::CAUTIONS.to_vec(),
        notes: [
            refused::note(barn, Lacks::List)?.into_iter().collect(),
            notes(view, &pens, &rooms, view.known, fitted),
        ]
        .concat(),
    };
    Ok(answer)
}

/// Of a cow that is present and not dry.
enum Stands<'a> {
    InMilk(Box<Cow<'a>>),
    Away(Missing),
    Absent,
}

#[expect(clippy::too_many_arguments, reason = "one place, called once")]
fn stand<'a>(
    view: &View,
    rows: &Rows<'a>,
    pens: &Pens<'_>,
    fits: &Fits,
    limits: &Limits,
    marks: &[Brought],
    round: &Round,
    clock: &mut WallClock,
    life: &'a Life,
    stage: Stage,
) -> Stands<'a> {
    let at = view.at;
    let Some((_, visits)) = rows.of.get(&life.key) else {
        let last = view.rolled.herd.last_milking(life.key);
        let recent = last.is_some_and(|last| hours_between(last, at) < GONE_AFTER_H)
            || stage.days_in_milk.is_some_and(|days| days < GONE_AFTER_H / 24.0)
            || round.away.contains(&life.key);
        return if recent {
            Stands::Away(away(view, life, last, stage.calved_at.filter(|_| last.is_none()), None))
        } else {
            Stands::Absent
        };
    };
    let brought = marks.iter().filter(|mark| mark.what.animal == life.animal && mark.what.at <= at);
    let course = Course {
        life,
        pen: pens.of(life, at),
        visits: visits.clone(),
        brought: brought.map(|mark| mark.what.at).collect(),
    };
    let mut wait = Wait::new(fits);
    let kappa = habits::kappa_per_h();
    let from = at.saturating_sub(habits::SPAN).unwrap_or(at);
    let state = halves::walk(&course, &pens.open, clock, kappa, (from, at), &mut |half| {
        wait.take(fits, half);
    });
    let Some(since) = state.since else {
        // Only visits that were no milkings, and no calving: nothing says that she is in milk.
        return Stands::Absent;
    };
    let since_h = hours_between(since, at);
    let unseen_h = state.seen.map_or(since_h, |seen| hours_between(seen.max(since), at));
    // Whether she is away beside her habit is the round's to say.
    if AWAY_AFTER_H < since_h && AWAY_AFTER_H < unseen_h || round.away.contains(&life.key) {
        return Stands::Away(away(
            view,
            life,
            state.seen,
            stage.calved_at.filter(|_| state.seen.is_none()),
            usual_h(visits),
        ));
    }
    let lame = round
        .calls
        .iter()
        .filter(|call| call.cause == "feet" && call.animal.as_deref() == Some(&life.animal));
    let lame = lame.map(|call| call.probability).fold(0.0, f64::max);
    let ahead = Ahead { state: &state, frailty: wait.frailty(), stage, lame };
    let Some(chances) = chances(&ahead, fits, kappa, clock, at) else { return Stands::Absent };
    let filling = view.rolled.herd.filling(life.key, &stage);
    let treated = is_held(view, life);
    let hers = Hers {
        days: stage.days_in_milk,
        first: stage.parity.map(|parity| parity <= 1),
        treated,
        rate_kg_h: filling.map(|(rate, _)| rate),
        left_kg: filling.map_or(0.0, |(_, left)| left),
    };
    let kappa = view.rolled.herd.parameters().kappa_per_h;
    Stands::InMilk(Box::new(Cow {
        life,
        pen: course.pen,
        stage,
        since,
        since_h,
        limit: limits.of(&hers, kappa),
        expected_kg: in_udder_kg(&hers, since_h, kappa),
        chances,
        treated,
        unmilked: stage.calved_at == Some(since),
    }))
}

/// Two weeks of visits that had ended, by cow.
fn read<'a>(barn: &Barn, view: &'a View, from: Timestamp) -> anyhow::Result<Rows<'a>> {
    let mut rows = Rows { of: BTreeMap::new(), used: BTreeMap::new(), boxes: BTreeMap::new() };
    barn.store.comings(from..view.at, &mut |number, visit| {
        if let Some(life) = view.cast.life(number, visit.started_at).filter(|_| visit.ended_at <= view.at) {
            *rows.used.entry((life.pen(view.at), visit.at_box.0)).or_default() += 1;
            rows.of.entry(life.key).or_insert_with(|| (life, Vec::new())).1.push(habits::seen(visit));
            let own = rows.boxes.entry(visit.at_box.0).or_insert((0.0, 0.0, visit.ended_at));
            own.2 = own.2.max(visit.ended_at);
            if is_milking(visit) {
                (own.0, own.1) =
                    (own.0 + 60.0 * hours_between(visit.started_at, visit.ended_at), own.1 + 1.0);
            }
        }
        std::ops::ControlFlow::Continue(())
    })?;
    Ok(rows)
}

fn is_milking(visit: &Visit) -> bool {
    matches!(visit.outcome, Some(Outcome::Milked | Outcome::Incomplete))
}

/// What each pen's boxes can take.
fn rooms(rows: &Rows<'_>, pens: &Pens<'_>, at: Timestamp) -> Vec<Room> {
    let of_pen = |own: &BTreeSet<u16>| {
        let boxes = own.iter().filter_map(|at_box| rows.boxes.get(at_box));
        let (mut minutes, mut milkings, mut runs) = (0.0, 0.0, 0);
        for (own_minutes, own_milkings, last) in boxes {
            (minutes, milkings) = (minutes + own_minutes, milkings + own_milkings);
            runs += usize::from(at.duration_since(*last) <= BOX_SILENT);
        }
        let milking = if milkings < 10.0 { MILKING_MIN } else { minutes / milkings };
        Room { boxes: runs, minutes: milking + CHANGE_MIN }
    };
    pens.boxes.iter().map(of_pen).collect()
}

fn candidates(cows: &[Cow<'_>], limits: &Limits) -> Vec<Candidate> {
    cows.iter()
        .map(|cow| Candidate {
            pen: cow.pen,
            heifer: cow.stage.parity == Some(1),
            held: cow.treated,
            since_h: cow.since_h,
            limit_h: cow.limit.hours,
            in_time: cow.chances.alone_within(limits.in_time_h),
            this_hour: cow.chances.alone_within(1.0),
        })
        .collect()
}

/// Whether her milk is held after a treatment.
fn is_held(view: &View, life: &Life) -> bool {
    let events = view.cast.events_of(&life.animal).iter();
    events
        .filter(|event| {
            event.kind == "treated" && event.at <= view.at && life.from.is_none_or(|from| from < event.at)
        })
        .any(|event| event.until.is_some_and(|until| view.at < until))
}

/// Hours between her milkings, as a rule.
fn usual_h(visits: &[Seen]) -> Option<f64> {
    let ends: Vec<Timestamp> =
        visits.iter().filter(|visit| visit.what == coming::What::Milked).map(|visit| visit.to).collect();
    let mut hours: Vec<f64> = ends.windows(2).map(|pair| hours_between(pair[0], pair[1])).collect();
    hours.sort_by(f64::total_cmp);
    (3 <= hours.len()).then(|| hours[hours.len() / 2])
}

/// The place of each pen on the walk: as the farm says, others after it.
fn walking_order(view: &View, pens: &Pens<'_>) -> Vec<(usize, usize)> {
    let walk = &view.ways.pens;
    let of =
        |name: &Option<&str>| walk.iter().position(|pen| Some(pen.as_str()) == *name).unwrap_or(walk.len());
    pens.names.iter().enumerate().map(|(place, name)| (of(name), place)).collect()
}

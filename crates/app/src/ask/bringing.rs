//! Makes the list of whom to bring in: reads two weeks of who came when, looks a day ahead of each cow, chooses and orders.

use std::collections::{BTreeMap, BTreeSet};

use cowpath_core::{
    coming::{
        self, Ahead, Candidate, Chances, Course, Fits, Seen,
        ahead::chances,
        fit::{Frailty, keeps},
        halves,
        limits::{Hers, Limits, Stretch, in_udder_kg},
        list::{Listed, Room},
    },
    herd::{Life, LifeKey, Stage},
    say::{self, bring_in as words, number, when},
    tables::{Outcome, Visit},
    time::{WallClock, hours_between},
    units::Kilograms,
};
use cowpath_store::Brought;
use jiff::{RoundMode, SignedDuration, Timestamp, Unit, ZonedDateTimeRound};

use super::{
    bring_in::{BringIn, Brings, ByHour, Done, Expected, Missing, Waits},
    farm::Barn,
    habits::{self, Pens},
    round::Round,
    rounding::pen_words,
    view::View,
};

/// A cow without a milking for so long is looked for, and not brought in.
const AWAY_AFTER_H: f64 = 48.0;
/// After so long she is taken to be dry or gone, as the round does.
const GONE_AFTER_H: f64 = 21.0 * 24.0;
/// A cow that by her habit would stay away so long only once in so many times, is looked for …
const BEYOND_HABIT: f64 = 1.0 / 200.0;
/// … where no box had a row of her for so long.
const UNSEEN_H: f64 = 12.0;
/// A box without a visit for so long is not counted on.
const BOX_SILENT: SignedDuration = SignedDuration::from_hours(6);
/// Minutes from one cow's exit to the next one's entry: stated default.
const CHANGE_MIN: f64 = 1.0;
/// Minutes of a milking where none was seen: `sources.md` §1, practice.
const MILKING_MIN: f64 = 7.0;
/// She is expected when she has come with this chance.
const EXPECTED: f64 = 0.8;

/// One cow in milk.
struct Cow<'a> {
    life: &'a Life,
    pen: usize,
    stage: Stage,
    since: Timestamp,
    since_h: f64,
    limit: Stretch,
    expected_kg: Option<f64>,
    chances: Chances,
    treated: bool,
    unmilked: bool,
}

/// Visits of the last weeks, by cow.
struct Rows<'a> {
    of: BTreeMap<LifeKey, (&'a Life, Vec<Seen>)>,
    used: BTreeMap<(Option<&'a str>, u16), u64>,
    /// Of each box: minutes in milkings, their number, and the end of its last visit.
    boxes: BTreeMap<u16, (f64, f64, Timestamp)>,
}

/// The list as the farm stood in a view; `round` is that view's, for what it says of the cows. Gives the fit too, which is
/// worth keeping.
pub fn of_view(barn: &Barn, view: &View, round: &Round) -> anyhow::Result<(BringIn, Fits)> {
    let _held = barn.store.hold()?;
    let (at, zone) = (view.at, &view.ways.zone);
    let limits = barn.store.settings()?.limits;
    let (fits, fitted) = habits::in_use(barn, &view.cast, zone, at)?;
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
        match stand(view, &rows, &pens, &fits, &limits, &marks, round, &mut clock, life, stage) {
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
    let newest = barn.store.last_row_at()?.unwrap_or(at);
    let known = barn.store.last_row_by(at)?;
    let answer = BringIn {
        farm: view.ways.name.clone(),
        at: when::rfc3339(at, zone),
        at_words: when::heading(at, newest, zone),
        last_row_words: known.map_or(String::new(), |last| when::instant(last, at, zone)),
        model: model_words(&fits, fitted, view),
        summary: words::summary(bring.len() - later, later, missing.len(), rest.len()),
        bring,
        missing,
        by_hour: by_hour(view, &rest),
        rest,
        cautions: words::CAUTIONS.to_vec(),
        notes: notes(view, &pens, &rooms, known, fitted),
    };
    Ok((answer, fits))
}

/// A list of a farm that has no rows.
pub fn empty(barn: &Barn, at: Timestamp) -> anyhow::Result<BringIn> {
    let ways = barn.ways()?;
    Ok(BringIn {
        farm: ways.name.clone(),
        at: when::rfc3339(at, &ways.zone),
        at_words: when::heading(at, at, &ways.zone),
        last_row_words: String::new(),
        model: "not yet fitted".into(),
        summary: "No rows have been read yet, so nobody is known to be in milk.".into(),
        bring: Vec::new(),
        missing: Vec::new(),
        rest: Vec::new(),
        by_hour: Vec::new(),
        cautions: Vec::new(),
        notes: vec!["Read the logs of your boxes first: cowpath import FILE...".into()],
    })
}

/// Who is expected by which whole hour of the clock; `rest` is in order of that.
fn by_hour(view: &View, rest: &[Expected]) -> Vec<ByHour> {
    let zone = &view.ways.zone;
    let up = ZonedDateTimeRound::new().smallest(Unit::Hour).mode(RoundMode::Ceil);
    let mut all: Vec<ByHour> = Vec::new();
    for own in rest {
        let by: Option<Timestamp> = own.cow.by.as_deref().and_then(|by| by.parse().ok());
        let words = match by.and_then(|by| by.to_zoned_datetime(zone.clone()).round(up).ok()) {
            Some(hour) => format!("by {}", when::instant(hour.timestamp(), view.at, zone)),
            None => "not within a day".into(),
        };
        match all.last_mut().filter(|last| last.words == words) {
            Some(last) => last.animals.push(own.cow.animal.clone()),
            None => all.push(ByHour { words, animals: vec![own.cow.animal.clone()] }),
        }
    }
    all
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
            || stage.days_in_milk.is_some_and(|days| days < GONE_AFTER_H / 24.0);
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
    // Her frailty as it was when this interval began, and what was expected of her since.
    let mut own = Frailty::new(fits.spread);
    let mut begun = (own, 0.0, 0.0);
    let kappa = habits::kappa_per_h();
    let from = at.saturating_sub(habits::SPAN).unwrap_or(at);
    let state = halves::walk(&course, &pens.open, clock, kappa, (from, at), &mut |half| {
        let (hazard_h, brought_h) = (fits.hazard_h(half), fits.brought_at_h(half));
        let own_h = own.mean() * hazard_h;
        let came = f64::from(half.came) * own_h / (own_h + brought_h);
        own.learn(hazard_h * half.open_h, came, keeps(half.open_h, fits.half_life_h), fits.spread);
        begun = if half.came {
            (own, 0.0, 0.0)
        } else {
            (begun.0, begun.1 + hazard_h * half.open_h, begun.2 + brought_h * half.open_h)
        };
    });
    let Some(since) = state.since else {
        // Only visits that were no milkings, and no calving: nothing says that she is in milk.
        return Stands::Absent;
    };
    let since_h = hours_between(since, at);
    let unseen_h = state.seen.map_or(since_h, |seen| hours_between(seen.max(since), at));
    let (frailty, expected, brought_before) = begun;
    let stays = (frailty.b / (frailty.b + expected)).powf(frailty.a) * f64::exp(-brought_before);
    if AWAY_AFTER_H < since_h && AWAY_AFTER_H < unseen_h || UNSEEN_H < unseen_h && stays < BEYOND_HABIT {
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
    let ahead = Ahead { state: &state, frailty: own, stage, lame };
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

fn away(
    view: &View,
    life: &Life,
    seen: Option<Timestamp>,
    calved: Option<Timestamp>,
    usual_h: Option<f64>,
) -> Missing {
    let zone = &view.ways.zone;
    let says = words::away(&words::Away { seen, calved, usual_h, at: view.at, zone });
    Missing {
        animal: life.animal.clone(),
        place: place(life.pen(view.at)),
        seen: seen.map(|seen| when::rfc3339(seen, zone)),
        sentence: format!("{}: {says}", life.animal),
        says,
    }
}

fn place(pen: Option<&str>) -> String {
    pen.map_or_else(|| "No pen on record".to_owned(), pen_words)
}

/// The place of each pen on the walk: as the farm says, others after it.
fn walking_order(view: &View, pens: &Pens<'_>) -> Vec<(usize, usize)> {
    let walk = &view.ways.pens;
    let of =
        |name: &Option<&str>| walk.iter().position(|pen| Some(pen.as_str()) == *name).unwrap_or(walk.len());
    pens.names.iter().enumerate().map(|(place, name)| (of(name), place)).collect()
}

fn waits(view: &View, pens: &Pens<'_>, cow: &Cow<'_>) -> Waits {
    let zone = &view.ways.zone;
    let rounded = |value: f64| (value * 1e4).round() / 1e4;
    let alone = |hours: f64| rounded(cow.chances.alone_within(hours));
    let milked = |hours: f64| rounded(cow.chances.milked_within(hours));
    let by = cow.chances.alone_by(EXPECTED).and_then(|hours| later(view.at, hours));
    Waits {
        animal: cow.life.animal.clone(),
        place: place(pens.names.get(cow.pen).copied().flatten()),
        since: when::rfc3339(cow.since, zone),
        hours: rounded(cow.since_h),
        limit_h: rounded(cow.limit.hours),
        limit_why: match cow.limit.why {
            coming::limits::Why::Stage => "stage",
            coming::limits::Why::Fresh => "fresh",
            coming::limits::Why::Treated => "treated",
            coming::limits::Why::Milk => "milk",
        },
        expected_kg: cow.expected_kg.map(rounded),
        first_lactation: cow.stage.parity.map(|parity| parity <= 1),
        alone_2h: alone(2.0),
        alone_4h: alone(4.0),
        alone_8h: alone(8.0),
        milked_2h: milked(2.0),
        milked_4h: milked(4.0),
        milked_8h: milked(8.0),
        by: by.map(|by| when::rfc3339(by, zone)),
    }
}

fn brings(
    view: &View,
    round: &Round,
    limits: &Limits,
    marks: &[Brought],
    cow: &Cow<'_>,
    hour: usize,
    waits: Waits,
) -> Brings {
    let (at, zone) = (view.at, &view.ways.zone);
    let stage = say::summary::stage(cow.stage);
    let facts = words::Facts {
        since_h: cow.since_h,
        fresh_unmilked: cow.unmilked,
        limit: cow.limit,
        stage: &stage,
        expected: cow.expected_kg.map(Kilograms),
        in_time: (cow.chances.alone_within(limits.in_time_h), later(at, limits.in_time_h).unwrap_or(at)),
        at,
        zone,
        units: view.ways.units,
    };
    let says = words::says(&facts);
    let begins = later(at, hour as f64).unwrap_or(at);
    let call = round.calls.iter().find(|call| call.animal.as_deref() == Some(&cow.life.animal));
    let mark =
        marks.iter().find(|mark| mark.what.animal == cow.life.animal && mark.what.since == Some(cow.since));
    Brings {
        from: when::rfc3339(begins, zone),
        from_words: if hour == 0 {
            "now".into()
        } else {
            format!("from {}", when::instant(begins, at, zone))
        },
        sentence: format!("{}: {says}", cow.life.animal),
        says,
        reasons: words::reasons(&facts),
        call: call.map(|call| call.says.clone()),
        done: mark.map(|mark| done(mark, at, view)),
        cow: waits,
    }
}

/// A mark in words.
pub fn done(mark: &Brought, at: Timestamp, view: &View) -> Done {
    let zone = &view.ways.zone;
    let by = mark.what.by.as_deref().map_or(String::new(), |by| format!(" by {by}"));
    Done {
        id: mark.id,
        at: when::rfc3339(mark.what.at, zone),
        words: format!("Brought {}{by}.", when::instant(mark.what.at, at.max(mark.what.at), zone)),
    }
}

fn expected(view: &View, cow: Waits) -> Expected {
    let by: Option<Timestamp> = cow.by.as_deref().and_then(|by| by.parse().ok());
    let by_words = by.map_or("not within a day".into(), |by| when::instant(by, view.at, &view.ways.zone));
    Expected { cow, by_words }
}

fn later(at: Timestamp, hours: f64) -> Option<Timestamp> {
    Timestamp::from_millisecond(at.as_millisecond() + (hours * 3_600_000.0) as i64).ok()
}

fn model_words(fits: &Fits, fitted: Option<Timestamp>, view: &View) -> String {
    let fitted = fitted.map(|turn| when::rfc3339(turn, &view.ways.zone));
    match fitted {
        Some(turn) => format!("fitted to {} milkings up to {turn}", number::count(fits.milkings as usize)),
        None => "not yet fitted".into(),
    }
}

fn notes(
    view: &View,
    pens: &Pens<'_>,
    rooms: &[Room],
    known: Option<Timestamp>,
    fitted: Option<Timestamp>,
) -> Vec<String> {
    let mut notes = Vec::new();
    if let Some(last) = known.filter(|last| SignedDuration::from_hours(2) < view.at.duration_since(*last)) {
        notes.push(format!(
            "No row since {}: who has been milked since then is not known here. Read the boxes' logs first.",
            when::instant(last, view.at, &view.ways.zone)
        ));
    }
    if fitted.is_none() {
        notes.push("When this herd's cows come is not fitted yet: that takes the first week or two of rows. Until then the chances rest on published intervals.".into());
    }
    for (name, _) in pens.names.iter().zip(rooms).filter(|(_, room)| room.boxes == 0) {
        notes.push(format!(
            "{}: none of its boxes has had a visit for six hours. Look at the box before you bring anybody.",
            place(*name)
        ));
    }
    notes
}

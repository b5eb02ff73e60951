//! Did a box stand still and not say so?
//!
//! # Equation
//! u = visits the box would have had in a silence, by its own visits at that hour of day, more or fewer as the other boxes
//!     are busy then, less the time it said it stood
//! P = f / (f + n)     f = rate · Δ · P(so long or longer)   faults a day that leave such a silence
//!                     n = silences a day · S(u)             sound silences a day of that length and longer
//! Of two boxes and more a silence is seen by what the others do: it lasts no longer than to the last visit of any. Where all of
//! them end together it is the log that ends, or all stand still ([`log_ends`]): their visits are then taken as one box's.
//! S is read off the box's own silences of the last weeks: exact up to their longest but few, an exponential tail beyond.
//! So a box that logs no cleaning has long silences of its own, and a longer one is needed.

use std::collections::BTreeMap;

use jiff::Timestamp;

use super::{BoxFault, Boxes, SILENT_H, before, chain::Verdict, log::Row};
use crate::{
    causes::{Cause, calibrated::log_odds, worth::Settings},
    expect::Signal,
    herd::BoxKey,
};

const HOUR_MS: i64 = 3_600_000;
const DAY_MS: i64 = 24 * HOUR_MS;
/// A shorter silence is of no matter, h.
const LEAST_H: f64 = 1.0;
/// Silences the tail is read off, at most.
const TAIL_OF: usize = 25;
/// Visits that come at chance have a tail of one visit; cows that come in turn may one day not. Stated default.
const LEAST_TAIL: f64 = 0.9;
/// Visits a box must have had before it is judged.
const LEAST_VISITS: usize = 100;
/// A box without a visit for so long is not at work, h: a standstill is found within days. Stated default.
const AT_WORK_H: f64 = 72.0;
/// Chance from which it is said that the log of all boxes ends: likelier than not.
const ENDS_FROM: f64 = 0.5;
/// How much the others' business may say: half as many to twice as many.
const BUSY: (f64, f64) = (0.5, 1.6);

/// One silence of a box.
struct Silence {
    from_ms: i64,
    to_ms: i64,
    /// Visits it would have had.
    expected: f64,
    goes_on: bool,
}

pub(crate) fn judge(boxes: &Boxes, rows: &[&Row], settings: &Settings) -> Vec<BoxFault> {
    let begins = Begins::of(rows.iter().copied());
    let mut of_box: BTreeMap<BoxKey, Vec<&Row>> = BTreeMap::new();
    for row in rows {
        of_box.entry(row.at_box).or_default().push(row);
    }
    let end_ms = if at_work(rows, boxes.at) < 2 { i64::MAX } else { last(rows).unwrap_or(i64::MAX) };
    let one = |key: BoxKey| one(boxes, of_box.get(&key)?, (&begins, end_ms), key, settings);
    boxes.courses.iter().filter_map(|(key, _)| one(*key)).collect()
}

/// The visits of all boxes end together, though other rows go on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LogEnds {
    /// End of the last visit of any box.
    pub since: Timestamp,
    /// Until when other rows are known.
    pub known: Timestamp,
}

/// Whether the visits of all boxes, of two and more, have ended together: their log has not arrived, or all stand still.
pub fn log_ends(boxes: &Boxes, settings: &Settings) -> Option<LogEnds> {
    let known = boxes.known_until.min(boxes.at);
    let as_one = BoxKey(u16::MAX);
    let since_ms = boxes.log.last_end(boxes.at)?;
    if known.as_millisecond() - since_ms < (LEAST_H * HOUR_MS as f64) as i64 {
        return None;
    }
    let rows = boxes.log.by(boxes.at);
    if at_work(&rows, boxes.at) < 2 {
        return None;
    }
    let mut all: Vec<Row> = rows.into_iter().map(|row| row.in_box(as_one)).collect();
    all.sort_by_key(|row| (row.from_ms, row.to_ms));
    // Of one box there are no others: all begins are its own.
    let own: Vec<&Row> = all.iter().collect();
    let fault = one(boxes, &own, (&Begins::of(all.iter()), i64::MAX), as_one, settings)?;
    (fault.goes_on && ENDS_FROM <= fault.finding.probability)
        .then(|| Some(LogEnds { since: Timestamp::from_millisecond(since_ms).ok()?, known }))
        .flatten()
}

/// Boxes with a visit in the last days.
fn at_work(rows: &[&Row], at: Timestamp) -> usize {
    let recent_ms = before(at, AT_WORK_H).as_millisecond();
    let recent = rows.iter().filter(|row| recent_ms <= row.to_ms);
    recent.map(|row| row.at_box).collect::<std::collections::BTreeSet<_>>().len()
}

/// End of the last visit of any box, ms.
fn last(rows: &[&Row]) -> Option<i64> {
    rows.iter().map(|row| row.to_ms).max()
}

fn one(
    boxes: &Boxes,
    own: &[&Row],
    (all, ends_ms): (&Begins, i64),
    at_box: BoxKey,
    settings: &Settings,
) -> Option<BoxFault> {
    if own.len() < LEAST_VISITS {
        return None;
    }
    let others = Others { all, own: Begins::of(own.iter().copied()) };
    let stood: Vec<(i64, i64)> = boxes
        .stood
        .iter()
        .filter(|stood| stood.at_box == at_box)
        .map(|stood| (stood.from.as_millisecond(), stood.to.as_millisecond()))
        .collect();
    let end_ms = boxes.known_until.min(boxes.at).as_millisecond().min(ends_ms);
    let day = Day::of(own[0].from_ms, &others, &stood, end_ms)?;
    let mut silences = Vec::with_capacity(own.len());
    let mut free_ms = own[0].to_ms;
    for row in &own[1..] {
        if free_ms < row.from_ms {
            let expected = day.expected(free_ms, row.from_ms, &stood, &others);
            silences.push(Silence { from_ms: free_ms, to_ms: row.from_ms, expected, goes_on: false });
        }
        free_ms = free_ms.max(row.to_ms);
    }
    if free_ms < end_ms {
        let expected = day.expected(free_ms, end_ms, &stood, &others);
        silences.push(Silence { from_ms: free_ms, to_ms: end_ms, expected, goes_on: true });
    }
    let recent_ms = before(boxes.at, SILENT_H).as_millisecond();
    let least_ms = (LEAST_H * HOUR_MS as f64) as i64;
    let recent = silences.iter().filter(|own| recent_ms <= own.to_ms && least_ms <= own.to_ms - own.from_ms);
    let longest = recent.max_by(|a, b| a.expected.total_cmp(&b.expected))?;
    // What it is held against: silences that are over and not this one.
    let mut known: Vec<f64> = silences
        .iter()
        .filter(|own| own.from_ms != longest.from_ms && !own.goes_on)
        .map(|own| own.expected)
        .collect();
    known.sort_by(|a, b| b.total_cmp(a));
    let days = (end_ms - own[0].from_ms) as f64 / DAY_MS as f64;
    let sound_a_day = tail(&known, longest.expected)? * known.len() as f64 / days;
    let hours = (longest.to_ms - longest.from_ms) as f64 / HOUR_MS as f64;
    // A standstill lasts some hours until somebody looks: stated default.
    let faults_a_day = settings.rates.of_place(Cause::IdleFault) * (-hours / 8.0).exp();
    let probability = faults_a_day / (faults_a_day + sound_a_day);
    let instant = |ms: i64| Timestamp::from_millisecond(ms).ok();
    let since = instant(longest.from_ms)?;
    let verdict = Verdict {
        probability,
        level: hours,
        since,
        since_between: (since, since),
        episode: since,
        weight: log_odds(probability) - settings.rates.of_place(Cause::IdleFault).ln(),
        course: Vec::new(),
    };
    let reason = (Signal::Visits, 0.0, longest.expected * 24.0 / hours);
    let mut fault = BoxFault::of((at_box, Cause::IdleFault, None), verdict, reason, (0, 0));
    fault.goes_on = longest.goes_on;
    Some(fault)
}

/// Chance that a sound silence is as long as `expected` and longer; `descending` are those known.
fn tail(descending: &[f64], expected: f64) -> Option<f64> {
    let count = descending.len();
    let of = TAIL_OF.min(count / 8);
    if of < 5 {
        return None;
    }
    // Where the tail begins, and its mean beyond: an exponential one beyond the few longest.
    let from = descending[of];
    let mean = descending[..of].iter().map(|own| own - from).sum::<f64>() / of as f64;
    if expected <= from {
        return Some(descending.partition_point(|own| expected <= *own) as f64 / count as f64);
    }
    let beyond = of as f64 / count as f64 * (-(expected - from) / mean.max(LEAST_TAIL)).exp();
    // What happened once may happen again.
    let seen = descending.partition_point(|own| expected <= *own) as f64 / count as f64;
    Some(beyond.max(seen))
}

/// When visits began: in order, and how many by hour of day.
struct Begins {
    times: Vec<i64>,
    by_hour: [f64; 24],
}

impl Begins {
    fn of<'r>(rows: impl Iterator<Item = &'r Row>) -> Begins {
        let mut times: Vec<i64> = rows.map(|row| row.from_ms).collect();
        times.sort_unstable();
        let mut by_hour = [0.0; 24];
        times.iter().for_each(|at| by_hour[hour(*at)] += 1.0);
        Begins { times, by_hour }
    }

    /// How many lie between two times.
    fn between(&self, from_ms: i64, to_ms: i64) -> f64 {
        self.times.partition_point(|at| *at < to_ms) as f64
            - self.times.partition_point(|at| *at < from_ms) as f64
    }
}

/// The other boxes' visits: those of all less those of this one, so that no box has all the others' copied for it.
struct Others<'a> {
    all: &'a Begins,
    own: Begins,
}

/// How often a box is visited by hour of day (of UTC: only differences within the day matter), and how the others are.
struct Day {
    own_an_hour: [f64; 24],
    others_an_hour: [f64; 24],
    starts_ms: i64,
}

impl Day {
    fn of(starts_ms: i64, others: &Others, stood: &[(i64, i64)], end_ms: i64) -> Option<Day> {
        if end_ms - starts_ms < 3 * DAY_MS {
            return None;
        }
        let days = (end_ms - starts_ms) as f64 / DAY_MS as f64;
        let mut open_h = [days; 24];
        for (from, to) in stood {
            let to = (*to).min(end_ms);
            let mut at = (*from).max(starts_ms);
            while at < to {
                let next = ((at.div_euclid(HOUR_MS) + 1) * HOUR_MS).min(to);
                open_h[hour(at)] -= (next - at) as f64 / HOUR_MS as f64;
                at = next;
            }
        }
        let own_counts = others.own.by_hour;
        let other_counts: [f64; 24] = std::array::from_fn(|hour| others.all.by_hour[hour] - own_counts[hour]);
        let total_own: f64 = own_counts.iter().sum::<f64>() / (24.0 * days);
        // Hours drawn to the mean of all by a day's worth of visits.
        let an_hour = |hour: usize| (own_counts[hour] + total_own) / (open_h[hour].max(0.3) + 1.0);
        Some(Day {
            own_an_hour: std::array::from_fn(an_hour),
            others_an_hour: other_counts.map(|count| count / days),
            starts_ms,
        })
    }

    /// Visits the box would have had between two times.
    fn expected(&self, from_ms: i64, to_ms: i64, stood: &[(i64, i64)], others: &Others) -> f64 {
        let mut expected = 0.0;
        let mut others_expected = 0.0;
        // In most silences it never said that it stood.
        let stood = if stood.iter().any(|(from, to)| *from < to_ms && from_ms < *to) { stood } else { &[] };
        let mut at = from_ms;
        while at < to_ms {
            let next = ((at.div_euclid(HOUR_MS) + 1) * HOUR_MS).min(to_ms);
            let hours = (next - at) as f64 / HOUR_MS as f64;
            let stood_ms: i64 =
                stood.iter().map(|(from, to)| ((*to).min(next) - (*from).max(at)).max(0)).sum();
            let open_h = (hours - stood_ms as f64 / HOUR_MS as f64).max(0.0);
            expected += open_h * self.own_an_hour[hour(at)];
            others_expected += hours * self.others_an_hour[hour(at)];
            at = next;
        }
        if 2.0 <= others_expected && self.starts_ms <= from_ms {
            let count = others.all.between(from_ms, to_ms) - others.own.between(from_ms, to_ms);
            // While one stands still the others take its cows: they may not be taken as busier than they are.
            expected *= ((count + 2.0) / (others_expected + 2.0)).clamp(BUSY.0, BUSY.1);
        }
        expected
    }
}

fn hour(at_ms: i64) -> usize {
    (at_ms.rem_euclid(DAY_MS) / HOUR_MS) as usize
}

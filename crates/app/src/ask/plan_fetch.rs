//! When do people fetch cows, as far as anything tells it; and what a plan may not say where nothing does.
//!
//! The pattern of the log comes first (`traffic::fit`: overdue cows that come in bunches at certain hours), for the cows' own
//! coming was fitted beside it. Where it shows none, marks of the walk tell. Where neither does, the pens as fitted hold what was
//! brought as if those cows had come: then the work of fetching is unknown, not nothing, and no round can be worth anything on
//! top of it.

use cowpath_core::traffic::Setup;
use jiff::{Timestamp, tz::TimeZone};

use super::{
    farm::Barn,
    plan::{AskedPlan, Plan},
    planning::Ground,
};

/// With fewer marks no hour is told. Stated default: two walks of four cows.
const FEWEST_MARKS: usize = 8;
/// An hour of a walk has at least this share of the marks: others are single cows. Stated default.
const OF_MARKS: f64 = 0.1;
/// Where nothing tells when people fetch.
const ASK: &str = "Type in the hours at which people fetch, as in 6/11/16/21 (on the command line --with \"fetch=6/11/16/21\"), or set \
                   marks on Bring in while they walk.";

/// Whether nothing tells when people fetch.
pub fn unknown(ground: &Ground) -> bool {
    ground.fitted && ground.setup.fetching.rounds_h.is_empty()
}

/// Hours at which walks begin, from hours of the clock at which cows were marked as brought.
pub fn hours_of_marks(marks: &[f64]) -> Vec<f64> {
    let mut counts = [0_usize; 24];
    marks.iter().for_each(|hour| counts[hour.rem_euclid(24.0) as usize % 24] += 1);
    let walked = |hour: usize| {
        FEWEST_MARKS <= marks.len() && OF_MARKS * marks.len() as f64 <= counts[hour % 24] as f64
    };
    // The first hour of a run of them: a walk may go on into the next.
    (0..24).filter(|hour| walked(*hour) && !walked(hour + 23)).map(|hour| hour as f64).collect()
}

/// Takes hours from marks of the walk where the log's pattern shows none, and says what is known.
pub fn settle(
    barn: &Barn,
    ground: &mut Ground,
    (from, at): (Timestamp, Timestamp),
    zone: &TimeZone,
) -> anyhow::Result<()> {
    if !unknown(ground) {
        return Ok(());
    }
    let hour = |at: Timestamp| {
        let wall = zone.to_datetime(at);
        f64::from(wall.hour()) + f64::from(wall.minute()) / 60.0
    };
    let marks: Vec<f64> = barn.store.brought(from, at)?.iter().map(|mark| hour(mark.what.at)).collect();
    set(&mut ground.setup, hours_of_marks(&marks));
    ground.notes.push(if unknown(ground) {
        format!("When people fetch is not known: no mark of Bring in tells it, and the log shows no hours at which overdue cows come in bunches. {ASK}")
    } else {
        "The hours at which people fetch are taken from marks of Bring in.".into()
    });
    Ok(())
}

fn set(setup: &mut Setup, rounds_h: Vec<f64>) {
    let (from, to) = setup.fetching.working_h;
    setup.fetching.working_h =
        rounds_h.iter().fold((from, to), |(from, to), hour| (from.min(*hour), to.max(*hour)));
    setup.fetching.rounds_h = rounds_h;
}

/// Whether a difference would tell what fetching is worth against a day of which nobody knows who was fetched.
pub fn untold(ground: &Ground, asked: &AskedPlan) -> bool {
    unknown(ground)
        && asked.change.fetch_h.is_none()
        && asked.instead.as_ref().is_some_and(|instead| instead.fetch_h.is_some())
}

/// What is said of fetching where nothing tells when people fetch.
pub fn sentence(plan: &Plan, asked: &AskedPlan, ground: &Ground) -> Option<String> {
    if !unknown(ground) {
        return None;
    }
    if untold(ground, asked) {
        return Some(format!(
            "What these hours of fetching bring or cost is not told: when people fetch now is not known, and among the cows that \
             come in the log are those that were brought. {ASK} Hold other hours beside those; until \
             then do not compare the money of the two either: only the second pays for fetching."
        ));
    }
    if plan.scenarios.iter().all(|scenario| scenario.fetched_unknown) {
        return Some(format!(
            "The work of fetching is left out of all figures: when people fetch is not known. {ASK}"
        ));
    }
    Some(
        "Where the hours of fetching as asked are not those of now, type yours in. Cows that were brought cannot be told from those that came in this log: what the rounds typed in bring is less than it is, \
         and what they cost is counted in full."
            .into(),
    )
}

#[cfg(test)]
mod tests;

//! Can a cow be judged at a time?

use cowpath_core::{
    herd::{Life, Stage},
    say::summary::{
        NotJudged::{self, NoMilking, TooNew},
        not_judged,
    },
    time::hours_between,
};

use super::{away::GONE_AFTER_H, round, view::View};

/// A cow without a milking for so long has nothing recent to be judged on, h.
const STALE_AFTER_H: f64 = 48.0;
/// Milkings since calving from which on a cow is judged.
const FIRST_JUDGED: u32 = 3;

/// Whether a cow can be judged at a time.
pub enum Standing {
    /// She can.
    Judged,
    /// She cannot, with why.
    Not(NotJudged),
    /// She is not in milk or no longer here: nobody expects a word about her.
    Absent,
    /// No row for weeks, and no event that says why.
    Gone,
}

/// Whether she can, as the view's time knows her.
pub fn standing(view: &View, life: &Life, stage: &Stage) -> Standing {
    if stage.dry {
        return Standing::Absent;
    }
    let herd = &view.rolled.herd;
    let Some(last) = herd.last_milking(life.key) else {
        return match stage.days_in_milk {
            Some(days) if days < 21.0 => Standing::Not(NoMilking(None)),
            _ => Standing::Absent,
        };
    };
    let since_h = hours_between(last, view.at);
    if GONE_AFTER_H < since_h {
        Standing::Gone
    } else if herd.milkings_since_calving(life.key) < FIRST_JUDGED {
        Standing::Not(TooNew)
    } else if STALE_AFTER_H < since_h {
        Standing::Not(NoMilking(Some(last)))
    } else {
        Standing::Judged
    }
}

/// The cows of a farm that has no row yet but its herd list: none can be judged, and each is named.
pub fn listed(view: &View) -> Vec<round::NotJudged> {
    let here = view.cast.lives.iter().filter(|life| life.present(view.at) && !life.stage(view.at).dry);
    let why = not_judged(NoMilking(None), view.at, &view.ways.zone);
    here.map(|life| round::NotJudged { animal: life.animal.clone(), why: why.clone() }).collect()
}

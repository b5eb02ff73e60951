//! Which milk meters are in doubt: what pages of milk by box say beside it, in the words of the round's call.

use cowpath_core::{causes::Cause, say, time::farm_day};
use jiff::civil::Date;

use super::{box_judging, farm::Barn, view::View};

/// So sure that a meter is off, every page of milk says it: likelier than not.
const SURE: f64 = 0.5;

/// A meter in doubt.
#[derive(Debug, Clone)]
pub struct Doubt {
    /// Since which farm day.
    pub since: Date,
    /// `Box 1: the milk meter looks 11 % too low, 95 % sure, since 3 February.`
    pub words: String,
}

/// What milk a page shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Milk {
    /// As the meters wrote it.
    Logged,
    /// By the cows' curves, which are freed of what is a box's and not theirs.
    Freed,
}

/// Meters in doubt as a view has them.
pub fn in_doubt(barn: &Barn, view: &View) -> anyhow::Result<Vec<Doubt>> {
    let (at, zone) = (view.at, &view.ways.zone);
    let name =
        |key: cowpath_core::herd::BoxKey| view.cast.boxes.get(usize::from(key.0)).map_or("?", String::as_str);
    let faults = box_judging::judge(barn, view, &view.judging.settings)?.faults;
    let meters = faults
        .iter()
        .filter(|fault| fault.finding.cause == Cause::MilkMeter && SURE <= fault.finding.probability);
    Ok(meters
        .filter_map(|fault| {
            let own = name(fault.of_box()?);
            let words =
                say::box_call::since(fault, own, fault.instead.map(name), (at, zone), view.ways.units);
            Some(Doubt { since: farm_day(fault.finding.since, zone), words })
        })
        .collect())
}

/// The same as notes of a page that shows milk up to a farm day.
pub fn notes(doubts: &[Doubt], milk: Milk, last: Date) -> Vec<String> {
    let tail = match milk {
        Milk::Logged => {
            "Milk here is as the meters wrote it, so milk of that box, and a minute of it, is as far off."
        }
        Milk::Freed => {
            "Milk here is by the cows’ own curves, which are freed of what is a box’s and not theirs."
        }
    };
    doubts.iter().filter(|doubt| doubt.since <= last).map(|doubt| format!("{} {tail}", doubt.words)).collect()
}

/// Meters in doubt by the newest rows; none while there are no rows.
pub fn newest(barn: &Barn) -> anyhow::Result<Vec<Doubt>> {
    super::view::at(barn, None)?.map_or_else(|| Ok(Vec::new()), |view| in_doubt(barn, &view))
}

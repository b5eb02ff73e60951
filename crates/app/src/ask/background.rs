//! What is noted of a cow that bears on what befalls her: earlier cases, heats, services, checks, cells.

use std::collections::BTreeMap;

use cowpath_core::{
    causes::{Background, priors::NOTED_NOW_D},
    herd::{EventRow, Life, LifeKey, Stage},
    signals::PastHeat,
    time::hours_between,
};
use jiff::{SignedDuration, Timestamp};

use super::{cast::Cast, farm::Barn, view::View};

/// Days a check or a service speaks of the calf she carries: longer than any cow does.
const CARRIED_D: f64 = 300.0;

/// Her breeding as it was noted by a time.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Breeding {
    /// Her last check found her in calf, and no service or calving came after it.
    pub in_calf: bool,
    /// Her last service in this lactation.
    pub inseminated_at: Option<Timestamp>,
    /// Her last heat that somebody noted, or service.
    pub heat_at: Option<Timestamp>,
    /// Her last one of more than [`NOTED_NOW_D`] days ago.
    pub heat_before: Option<Timestamp>,
    /// A check found her open, or a heat was noted, after her last service and check: so she holds no calf for all that is known.
    pub open: bool,
}

impl Breeding {
    /// When a heat or service of these days was noted: it is of the heat she may be in.
    pub fn noted_now(&self, at: Timestamp) -> Option<Timestamp> {
        self.heat_at.filter(|noted| hours_between(*noted, at) / 24.0 < NOTED_NOW_D)
    }
}

/// What bears on what befalls her.
pub fn of(view: &View, life: &Life, stage: Stage) -> Background {
    let breeding = breeding(view, life);
    let days = |then: Option<Timestamp>| then.map(|then| hours_between(then, view.at) / 24.0);
    let days_since = |heat: &PastHeat| (view.at.as_millisecond() - heat.at_ms) as f64 / 86_400_000.0;
    Background {
        stage,
        earlier_cases: earlier_udder_cases(view, life),
        cells_k: view.cells.get(&life.key).copied(),
        days_since_heat: days(breeding.heat_before),
        noted_now: days(breeding.noted_now(view.at)),
        heat_seen: view.others.heats.get(&life.key).map(|heat| (days_since(heat), f64::from(heat.chance))),
        in_calf: breeding.in_calf && !breeding.open,
        days_since_service: days(breeding.inseminated_at.filter(|_| !breeding.open)),
    }
}

/// Her breeding by the view's time.
pub fn breeding(view: &View, life: &Life) -> Breeding {
    let stage = life.stage(view.at);
    let since = stage.calved_at.unwrap_or(Timestamp::MIN);
    noted_by(events(view, life).filter(|event| since <= event.at && event.at <= view.at), view.at)
}

/// What events of one lactation, oldest first, say of her breeding at a time.
fn noted_by<'e>(events: impl Iterator<Item = &'e EventRow>, at: Timestamp) -> Breeding {
    let mut breeding = Breeding::default();
    for event in events {
        if matches!(event.kind.as_str(), "heat" | "inseminated")
            && NOTED_NOW_D <= hours_between(event.at, at) / 24.0
        {
            breeding.heat_before = Some(event.at);
        }
        match event.kind.as_str() {
            "heat" => {
                breeding.heat_at = Some(event.at);
                // The record still says so: she is to be checked before she is served.
                breeding.open = true;
            }
            "inseminated" => {
                breeding.inseminated_at = Some(event.at);
                breeding.heat_at = Some(event.at);
                (breeding.in_calf, breeding.open) = (false, false);
            }
            "pregnancy-check" => {
                let carried = hours_between(event.at, at) / 24.0 < CARRIED_D;
                let found = found_a_calf(event);
                breeding.in_calf = found.map_or(breeding.in_calf, |found| found && carried);
                breeding.open = found.map_or(breeding.open, |found| !found);
            }
            _ => {}
        }
    }
    breeding
}

/// Whether a check found a calf; `None` where it does not say.
fn found_a_calf(event: &EventRow) -> Option<bool> {
    let Some(detail) = event.detail.as_deref().map(str::to_lowercase) else {
        return event.value.map(|value| 0.0 < value);
    };
    let begins = |words: &[&str]| words.iter().any(|word| detail.starts_with(word));
    if begins(&["pregnant", "multiple", "positive", "in calf", "yes"]) {
        Some(true)
    } else if begins(&["open", "empty", "negative", "not", "no"]) {
        Some(false)
    } else {
        None
    }
}

/// Udder cases that people recorded of her more than two weeks before.
fn earlier_udder_cases(view: &View, life: &Life) -> u32 {
    let earlier = events(view, life).filter(|event| {
        event.kind == "diagnosed" && event.quarter.is_some() && 14.0 * 24.0 < hours_between(event.at, view.at)
    });
    earlier.count() as u32
}

/// Days a recording's cells speak of her.
const CELLS_D: i64 = 60;

/// Cells of each cow's last recording, thousand/mL.
pub fn cells(barn: &Barn, cast: &Cast, at: Timestamp) -> anyhow::Result<BTreeMap<LifeKey, f64>> {
    let mut cells = BTreeMap::new();
    let Some(table) = cowpath_core::tables::table("recordings") else { return Ok(cells) };
    let place = |name: &str| table.columns.iter().position(|column| column.name == name);
    let (Some(animal), Some(scc_k)) = (place("animal"), place("scc_k")) else { return Ok(cells) };
    let from = at.saturating_sub(SignedDuration::from_hours(24 * CELLS_D))?;
    // A recording is of a day: it is known when that day is over.
    let until = at.saturating_sub(SignedDuration::from_hours(24))?;
    for row in barn.store.rows(table, Some(from..until), None)? {
        if let (Some(animal), Some(scc_k)) = (row[animal].text(), row[scc_k].number())
            && let Some(life) = cast.find(animal, at)
        {
            cells.insert(life.key, scc_k);
        }
    }
    Ok(cells)
}

fn events<'v>(view: &'v View, life: &'v Life) -> impl Iterator<Item = &'v EventRow> {
    view.cast.events_of(&life.animal).iter().filter(|event| life.present(event.at))
}

#[cfg(test)]
mod tests;

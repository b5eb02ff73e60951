//! Milkings that the herd's parameters are fitted to: the last six weeks of some of its cows.

use cowpath_core::{expect::SampleMilking, tables::Visit, time::WallClock};
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::{cast::Cast, farm::Barn};

/// How far back.
const SPAN: SignedDuration = SignedDuration::from_hours(42 * 24);
/// As many cows as make about this many visits.
const VISITS: u64 = 5_000;

/// Visits that ended in the six weeks before `until`, in that order, of cows evenly spread over the herd's numbers.
/// Which they are hangs on nothing that came later.
pub fn before(
    barn: &Barn,
    cast: &Cast,
    zone: &TimeZone,
    until: Timestamp,
) -> anyhow::Result<Vec<SampleMilking>> {
    let from = until.saturating_sub(SPAN)?;
    let counts: Vec<(u32, (String, u64))> =
        (0..).zip(barn.store.visit_counts(from..until)?).filter(|(_, (_, visits))| 0 < *visits).collect();
    let total: u64 = counts.iter().map(|(_, (_, visits))| visits).sum();
    let every = (total.div_ceil(VISITS) as usize).max(1);
    let mut clock = WallClock::new(zone.clone());
    let mut sample: Vec<SampleMilking> = Vec::new();
    for (number, (animal, _)) in counts.iter().step_by(every) {
        barn.store.milkings_of(animal, from..until, &mut |visit| {
            let Some(life) = cast.life(*number, visit.started_at).filter(|_| visit.ended_at <= until) else {
                return;
            };
            let (stage, hour_of_day) = (life.stage(visit.started_at), clock.hour_of_day(visit.ended_at));
            sample.push(SampleMilking { visit: Visit { life: life.key, ..*visit }, stage, hour_of_day });
        })?;
    }
    sample.sort_by_key(|milking| (milking.visit.ended_at, milking.visit.life));
    Ok(sample)
}

//! What the cows that fit bring: milk and money a day, on the same chance.

use cowpath_core::traffic::{Figure, Gathered, Spread, capacities, money_day, paired, with_cows};

use super::plan::{AskedPlan, Beyond};

/// A scenario's herd sizes in rising order, each with its replicates, and its boxes.
pub type Sizes<'a> = (Vec<(usize, &'a Gathered)>, usize);

/// The first scenario against the cows of now, in the same boxes; `None` where the sizes do not reach both.
pub fn than_now(own: &Sizes<'_>, now: usize, asked: &AskedPlan) -> Option<Beyond> {
    let fits = capacities(&own.0, asked.bounds.idle)?;
    between((own, now), (own, whole(&fits)?), paired(&fits, &vec![now as f64; fits.len()]), asked)
}

/// The second scenario against the first, each with the cows that fit.
pub fn than_asked(first: &Sizes<'_>, second: &Sizes<'_>, asked: &AskedPlan) -> Option<Beyond> {
    let (less, own) = (capacities(&first.0, asked.bounds.idle)?, capacities(&second.0, asked.bounds.idle)?);
    between((first, whole(&less)?), (second, whole(&own)?), paired(&own, &less), asked)
}

fn between(
    (first, from): (&Sizes<'_>, usize),
    (second, to): (&Sizes<'_>, usize),
    cows: cowpath_core::traffic::Mean,
    asked: &AskedPlan,
) -> Option<Beyond> {
    let more = |value: &dyn Fn(&[f64], usize) -> f64| {
        let of = |own: &Sizes<'_>, cows| with_cows(&own.0, cows, &|figures| value(figures, own.1));
        Some(paired(&of(second, to)?, &of(first, from)?))
    };
    Some(Beyond {
        from,
        to,
        cows,
        milk_kg: more(&|own, boxes| own[Figure::MilkBox as usize] * boxes as f64)?,
        money: more(&|own, boxes| money_day(&asked.terms, own, boxes))?,
    })
}

/// Whole cows that fit in the mean of replicates.
fn whole(fits: &[f64]) -> Option<usize> {
    let mut spread = Spread::default();
    fits.iter().for_each(|cows| spread.add(*cows));
    (0 < spread.count()).then(|| cowpath_core::say::plan::whole(spread.mean().mean))
}

//! What is put before the cows, and when is it pushed up?

use crate::{
    SimError,
    chance::Stream,
    clock::FarmClock,
    cow::Cow,
    pen::Pen,
    rows::{BunkRow, FeedRow, PushRow, Row},
    season::Day,
};

/// The feeds of the farm, invented figures of usual size: dm, nel, cp, ndf, forage ndf, starch, fat, price.
pub const FEEDS: [FeedRow; 6] = [
    feed("maize silage", [34.0, 1.58, 8.2, 42.0, 42.0, 31.0, 3.1, 62.0], "forage", None),
    feed("grass silage", [38.0, 1.42, 16.5, 48.0, 48.0, 2.0, 3.6, 71.0], "forage", None),
    feed("rolled grain", [88.0, 2.01, 11.8, 13.0, 0.0, 66.0, 2.6, 236.0], "concentrate", Some(6.0)),
    feed("protein mix", [90.0, 1.86, 41.0, 22.0, 0.0, 7.0, 3.4, 418.0], "concentrate", Some(5.0)),
    feed("box pellet", [89.0, 1.93, 18.5, 24.0, 0.0, 36.0, 4.2, 345.0], "concentrate", Some(7.5)),
    feed("mineral", [97.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 890.0], "mineral", Some(0.4)),
];

const fn feed(feed: &'static str, holds: [f64; 8], kind: &'static str, max_kg_dm: Option<f64>) -> FeedRow {
    FeedRow { feed, holds, kind, max_kg_dm }
}

/// A cow's bunk ration, kg as fed: maize, grass, grain, protein, mineral.
const RATION_KG: [(usize, f64); 5] = [(0, 24.5), (1, 16.0), (2, 2.3), (3, 2.6), (5, 0.22)];

/// One day's deliveries and pushes.
pub fn day(
    chance: &mut Stream,
    day: i32,
    clock: &FarmClock,
    pens: &[Pen],
    cows: &[Cow],
    season: &Day,
    out: &mut dyn FnMut(Row) -> Result<(), SimError>,
) -> Result<(), SimError> {
    for (place, pen) in pens.iter().enumerate() {
        let mouths = cows.iter().filter(|cow| cow.pen == place && !cow.dry && !cow.gone).count() as f64;
        for (hour, part) in [(6.8, 0.55), (15.9, 0.45)] {
            let delivered_s = clock.at(day, hour + 0.25 * place as f64 + chance.normal(0.0, 0.15));
            for (feed, kg) in RATION_KG {
                let kg = kg * part * mouths * season.feed_intake * chance.bounded(1.0, 0.025, 2.5);
                out(Row::Bunk(BunkRow {
                    pen: pen.name.clone(),
                    delivered_s,
                    feed: FEEDS[feed].feed,
                    kg: kg.round(),
                }))?;
            }
        }
        for hour in [5.6, 10.2, 13.4, 18.9, 21.8] {
            if chance.chance(0.95) {
                out(Row::Push(PushRow {
                    bunk_side: pen.name.clone(),
                    at_s: clock.at(day, hour + chance.normal(0.0, 0.2)),
                    distance_cm: chance.between(6.0, 18.0).round(),
                }))?;
            }
        }
    }
    Ok(())
}

//! What does the tank hold when it is emptied?

use crate::{
    SimError,
    chance::Stream,
    clock::FarmClock,
    rows::{PickupRow, Row, VisitRow},
};

/// The tank.
#[derive(Debug, Clone)]
pub struct Tank {
    chance: Stream,
    next_s: i64,
    poured: Vec<Poured>,
}

/// Milk that went in.
#[derive(Debug, Clone, Copy)]
struct Poured {
    at_s: i64,
    kg: f64,
    solids_pct: [f64; 2],
    scc_k: f64,
}

impl Tank {
    /// An empty tank; the first lorry comes on the second day.
    pub fn new(seed: u64, clock: &FarmClock) -> Tank {
        let mut chance = Stream::new(seed, "tank", 0);
        let next_s = clock.at(clock.day(clock.start_s) + 1, chance.between(8.6, 10.2));
        Tank { chance, next_s, poured: Vec::new() }
    }

    /// Milk of a visit that goes to the tank.
    pub fn pour(&mut self, row: &VisitRow) {
        if 0.0 < row.true_milk_kg {
            let [fat, protein, _] = row.true_solids_pct;
            // The little of a failed milking was not analysed.
            let (fat, protein) = if fat == 0.0 { (4.0, 3.3) } else { (fat, protein) };
            self.poured.push(Poured {
                at_s: row.ended_s,
                kg: row.true_milk_kg,
                solids_pct: [fat, protein],
                scc_k: row.true_scc_k.max(20.0),
            });
        }
    }

    /// Hands out the pickups due by a time.
    pub fn collect(
        &mut self,
        until_s: i64,
        clock: &FarmClock,
        air_c: f64,
        out: &mut dyn FnMut(Row) -> Result<(), SimError>,
    ) -> Result<(), SimError> {
        while self.next_s <= until_s {
            let at_s = self.next_s;
            let (in_tank, later): (Vec<_>, Vec<_>) =
                self.poured.drain(..).partition(|milk| milk.at_s <= at_s);
            self.poured = later;
            let kg: f64 = in_tank.iter().map(|milk| milk.kg).sum();
            let mean = |part: &dyn Fn(&Poured) -> f64| {
                in_tank.iter().map(|milk| milk.kg * part(milk)).sum::<f64>() / kg.max(1e-9)
            };
            let chance = &mut self.chance;
            if 0.0 < kg {
                // What stays in pipes and filter, then the lorry's own meter.
                let collected_kg = kg * 0.9975 * (1.0 + chance.bounded(0.0, 0.0018, 2.5));
                out(Row::Pickup(PickupRow {
                    collected_s: at_s,
                    milk_kg: collected_kg.round(),
                    solids_pct: [
                        mean(&|milk| milk.solids_pct[0]) + chance.normal(0.0, 0.03),
                        mean(&|milk| milk.solids_pct[1]) + chance.normal(0.0, 0.015),
                    ],
                    scc_k: (mean(&|milk| milk.scc_k) * chance.log_normal(1.0, 0.06)).round(),
                    bacteria_k: chance.log_normal(11.0, 0.55).round(),
                    milk_c: 3.4 + chance.normal(0.0, 0.25) + 0.02 * (air_c - 10.0).max(0.0),
                }))?;
            }
            self.next_s = clock.at(clock.day(at_s) + 2, chance.between(8.6, 10.2));
        }
        Ok(())
    }
}

//! What pages ask and change of costs and of what was learned.

use cowpath_core::causes::costs::OwnCosts;

use super::{
    costs::{self, Change, Costs},
    live::Live,
    missed::{self, Lesson, Taught},
};

impl Live {
    /// What it costs.
    pub fn costs(&self) -> anyhow::Result<Costs> {
        let now = self.now();
        self.ask(|barn| costs::costs(barn, now))
    }

    /// How the newest list would change with other costs; nothing is kept.
    pub fn try_costs(&self, own: &OwnCosts) -> anyhow::Result<(Costs, Change)> {
        let now = self.now();
        let seen = self.seen(None)?;
        self.ask(|barn| {
            let ways = barn.ways()?;
            let own = costs::checked(own.clone(), ways.zone.to_datetime(now).year())?;
            let change = match &seen.view {
                Some(view) => costs::change(barn, view, &own)?,
                None => costs::no_change(),
            };
            Ok((costs::told(ways.name, own), change))
        })
    }

    /// Keeps the farm's own costs, all of them at once.
    pub fn keep_costs(&self, own: &OwnCosts) -> anyhow::Result<Costs> {
        let now = self.now();
        self.write(false, |barn| costs::keep(barn, own.clone(), now))
    }

    /// Tells of a missed case, or takes back what was told or learned.
    pub fn teach(&self, lesson: &Lesson) -> anyhow::Result<Taught> {
        let now = self.now();
        self.write(false, |barn| missed::teach(barn, lesson, now))
    }
}

//! Box minutes of a farm with fixed answers: a farm of three makes, and no cow known by a model.

use std::sync::Arc;

use cowpath_core::minutes::terms::Terms;

use super::{box_days, farm::FixedFarm};
use crate::{
    ask::{
        box_minutes::{AskedMinutes, BoxMinutes},
        intervals::{AskedIntervals, Intervals},
    },
    web::Minding,
};

impl Minding for FixedFarm {
    fn box_minutes(&self, asked: &AskedMinutes) -> anyhow::Result<BoxMinutes> {
        if let Some(broken) = self.broken {
            anyhow::bail!(broken);
        }
        let (_folder, farm) = box_days::read(&box_days::three_makes());
        farm.box_minutes(asked)
    }

    fn intervals(&self, asked: &AskedIntervals) -> anyhow::Result<Arc<Intervals>> {
        if let Some(broken) = self.broken {
            anyhow::bail!(broken);
        }
        let (_folder, farm) = box_days::read(&box_days::three_makes());
        farm.intervals(asked)
    }

    fn try_terms(&self, words: &str) -> anyhow::Result<Terms> {
        Terms::default()
            .with(words)
            .map_err(|why| crate::trouble::user(why, "nothing was changed", "mend it"))
    }

    fn keep_terms(&self, _words: &str) -> anyhow::Result<()> {
        Ok(())
    }
}

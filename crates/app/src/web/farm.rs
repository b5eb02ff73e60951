//! The farm's own answers, as the pages ask for them.

use std::sync::Arc;

use cowpath_core::units::UnitSystem;
use jiff::{Timestamp, tz::TimeZone};

use super::{Answers, AskedCow, Fetching, HerdRow};
use crate::ask::{
    boxes::{AskedBoxes, Boxes},
    bring_in::{BringIn, Done, Marked},
    cow::Cow,
    found::Given,
    live::Live,
    planning::Ground,
    record::Record,
    round::{Answer, Round},
};

impl Fetching for Live {
    fn bring_in(&self, at: Option<Timestamp>) -> anyhow::Result<Arc<BringIn>> {
        Live::bring_in(self, at)
    }

    fn mark_brought(&self, marked: &Marked) -> anyhow::Result<Done> {
        Live::mark_brought(self, marked)
    }

    fn unmark_brought(&self, id: i64, by: Option<&str>) -> anyhow::Result<()> {
        Live::unmark_brought(self, id, by)
    }

    fn units(&self) -> UnitSystem {
        self.ways().map(|ways| ways.units).unwrap_or_default()
    }
}

impl Answers for Live {
    fn round(&self, at: Option<Timestamp>) -> anyhow::Result<Arc<Round>> {
        Live::round(self, at)
    }

    fn cow(&self, asked: &AskedCow) -> anyhow::Result<Option<Cow>> {
        Live::cow(self, &asked.animal, asked.instance, asked.from, asked.to, asked.at, asked.metric)
    }

    fn give(&self, given: &Given) -> anyhow::Result<Answer> {
        Live::give(self, given)
    }

    fn take_back(&self, id: i64, by: Option<&str>) -> anyhow::Result<()> {
        Live::take_back(self, id, by)
    }

    fn record(&self) -> anyhow::Result<Record> {
        Live::record(self)
    }

    fn plan_ground(&self) -> anyhow::Result<Arc<Ground>> {
        Live::plan_ground(self)
    }

    fn herd_list(&self) -> anyhow::Result<Vec<HerdRow>> {
        let seen = self.seen(None)?;
        Ok(crate::ask::cowing::herd_list(&seen)
            .into_iter()
            .map(|(animal, place, stage_words, calls)| HerdRow { animal, place, stage_words, calls })
            .collect())
    }

    fn boxes(&self, asked: &AskedBoxes) -> anyhow::Result<Boxes> {
        Live::boxes(self, asked)
    }

    fn round_rests_on(&self) -> anyhow::Result<u64> {
        Live::round_rests_on(self)
    }

    fn farm_name(&self) -> String {
        self.ways().map(|ways| ways.name).unwrap_or_default()
    }

    fn zone(&self) -> TimeZone {
        self.ways().map(|ways| ways.zone).unwrap_or(TimeZone::UTC)
    }

    fn time(&self, word: &str) -> anyhow::Result<Timestamp> {
        Live::time(self, word)
    }
}

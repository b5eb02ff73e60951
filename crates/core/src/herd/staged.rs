//! Every cow's stage, row after row: between two notes of her nothing changes of it but the days.

use jiff::Timestamp;

use super::{Life, Stage};
use crate::time::hours_between;

/// Stages as they were asked for last, by cow; rows that follow one another in time are answered without a look at her notes.
#[derive(Debug, Clone, Default)]
pub struct Stages(Vec<Option<Staged>>);

/// A stage, and from and until when no note changes it.
#[derive(Debug, Clone, Copy)]
struct Staged {
    from: Timestamp,
    until: Timestamp,
    stage: Stage,
}

impl Stages {
    /// [`Life::stage`].
    pub fn of(&mut self, life: &Life, at: Timestamp) -> Stage {
        let place = life.key.0 as usize;
        if self.0.len() <= place {
            self.0.resize(place + 1, None);
        }
        let known = &mut self.0[place];
        let staged = match known {
            Some(staged) if staged.from <= at && at < staged.until => staged,
            _ => known.insert(staged(life, at)),
        };
        let days = |calved| hours_between(calved, at) / 24.0;
        Stage { days_in_milk: staged.stage.calved_at.map(days), ..staged.stage }
    }
}

fn staged(life: &Life, at: Timestamp) -> Staged {
    let notes = || life.calvings.iter().map(|calving| calving.at).chain(life.dried_off.iter().copied());
    Staged {
        from: notes().filter(|note| *note <= at).max().unwrap_or(Timestamp::MIN),
        until: notes().filter(|note| at < *note).min().unwrap_or(Timestamp::MAX),
        stage: life.stage(at),
    }
}

//! Sensors that send, but nothing that a cow could do: zeros alone, or the same figures again and again.

use cowpath_core::{say::when, signals::Stuck, time::hours_between};

use super::{silence::Silent, view::View};

/// A sensor that was stuck and sends again since so many hours is mended.
const MENDED_AFTER_H: f64 = 14.0;
/// Shorter stretches are told to nobody: a tag may lie in a puddle for a bin.
const TOLD_FROM_H: f64 = 6.0;

/// What is said of the sensors that are stuck at a view's time.
pub fn told(view: &View) -> Vec<Silent> {
    let zone = &view.ways.zone;
    let going_on = |stuck: &&Stuck| {
        hours_between(stuck.to, view.at) < MENDED_AFTER_H
            && TOLD_FROM_H <= hours_between(stuck.from, stuck.to)
    };
    let of = |stuck: &Stuck| {
        let life = view.cast.of(stuck.life)?;
        let since = when::instant(stuck.from, view.at, zone);
        let animal = &life.animal;
        let sentence = if stuck.zero {
            format!(
                "Movement of {animal} is exactly 0 since {since}: is her sensor lost or dead? Her movement is not judged meanwhile."
            )
        } else {
            format!(
                "The sensor of {animal} sends the same figures again and again since {since}. Her movement is not judged meanwhile."
            )
        };
        Some(Silent {
            signal: "movement".into(),
            box_name: None,
            animals: vec![animal.clone()],
            since: when::rfc3339(stuck.from, zone),
            sentence,
        })
    };
    view.others.stuck.iter().filter(going_on).filter_map(of).collect()
}

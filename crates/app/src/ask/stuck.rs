//! Sensors that send, but nothing that a cow could do: zeros alone, or the same figures again and again. What they sent is
//! taken out of what is judged, and said.

use std::collections::BTreeMap;

use cowpath_core::{
    expect::Scored,
    herd::LifeKey,
    say::{number, when},
    signals::{Column, Stuck, Whose},
    time::hours_between,
};

use super::{silence::Silent, view::View};

/// A tag that was stuck and sends again since so many hours is mended.
const MENDED_AFTER_H: f64 = 14.0;
/// Shorter stretches are told to nobody: a tag may lie in a puddle for a bin.
const TOLD_FROM_H: f64 = 6.0;
/// Sensors named in the round's note; of more their number is said.
const NAMED: usize = 4;

/// Takes out of the milkings of the last days what stuck meters and probes sent before they could be known to be stuck.
pub fn take_out(stuck: &[Stuck], milkings: &mut BTreeMap<LifeKey, Vec<Scored>>) {
    for one in stuck {
        let (Whose::Box(at_box), Some((signal, quarter))) = (one.whose, one.column.signal()) else {
            continue;
        };
        let of_it = |scored: &&mut Scored| {
            scored.at_box == at_box && one.from <= scored.started_at && scored.ended_at <= one.to
        };
        for scored in milkings.values_mut().flatten().filter(of_it) {
            // What her quarters have in common rests on each of them.
            scored.departures.retain(|own| {
                own.signal != signal || (own.quarter.is_some() && quarter.is_some() && own.quarter != quarter)
            });
        }
    }
}

/// The sensors that are stuck at a view's time, as far as it is told.
fn going_on(view: &View) -> impl Iterator<Item = &Stuck> {
    view.others.stuck.iter().filter(|stuck| {
        let of_box = matches!(stuck.whose, Whose::Box(_));
        let long = of_box || TOLD_FROM_H <= hours_between(stuck.from, stuck.to);
        !stuck.mended && long && hours_between(stuck.to, view.at) < MENDED_AFTER_H
    })
}

/// Whose it is, in words: `of 214`, `at box 1`, `of the whole herd`.
fn whose(view: &View, stuck: &Stuck) -> Option<String> {
    Some(match stuck.whose {
        Whose::Cow(life) => format!("of {}", view.cast.of(life)?.animal),
        Whose::Box(at_box) => format!("at box {}", view.cast.boxes.get(usize::from(at_box.0))?),
        Whose::Herd => "of the whole herd".into(),
    })
}

/// What is said of the sensors that are stuck at a view's time.
pub fn told(view: &View) -> Vec<Silent> {
    going_on(view).filter_map(|stuck| of(view, stuck)).collect()
}

fn of(view: &View, stuck: &Stuck) -> Option<Silent> {
    let zone = &view.ways.zone;
    let whose = whose(view, stuck)?;
    let column = stuck.column.words();
    let are = if stuck.column.is_many() { "are" } else { "is" };
    let since = if stuck.began {
        format!("since {}", when::instant(stuck.from, view.at, zone))
    } else {
        "for ten days and more".into()
    };
    let figure =
        stuck.value.map_or_else(|| "the same".to_owned(), |value| format!("exactly {}", figure(value)));
    let what = format!("{} {whose} {are} {figure}", upper(&column));
    let sentence = match (stuck.whose, stuck.column) {
        (Whose::Box(_), Column::FeedEaten) => format!(
            "{what} at every visit {since}, whoever stands in it: is nothing given, or is it no longer measured? It is not judged meanwhile."
        ),
        (Whose::Box(_), _) => format!(
            "{what} at every milking {since}, whoever stands in it: is the sensor stuck? It is not judged meanwhile."
        ),
        (Whose::Herd, _) => format!(
            "{what} {since}. No herd does that: look at how it is measured and written. It is not judged meanwhile."
        ),
        (Whose::Cow(_), Column::Movement) if !stuck.zero() => format!(
            "The sensor {whose} sends the same figures again and again {since}. Her movement is not judged meanwhile."
        ),
        (Whose::Cow(_), Column::Movement) => {
            format!("{what} {since}: is her sensor lost or dead? Her movement is not judged meanwhile.")
        }
        (Whose::Cow(_), _) => format!(
            "{what} {since}: is her sensor broken? Her {column} {are} not judged meanwhile; look at her, for a sensor alone does not say how she is."
        ),
    };
    let animals = match stuck.whose {
        Whose::Cow(life) => vec![view.cast.of(life)?.animal.clone()],
        _ => Vec::new(),
    };
    let box_name = match stuck.whose {
        Whose::Box(at_box) => view.cast.boxes.get(usize::from(at_box.0)).cloned(),
        _ => None,
    };
    Some(Silent { signal: column, box_name, animals, since: when::rfc3339(stuck.from, zone), sentence })
}

/// The round's one note of all sensors that got stuck. Meters of whole milkings and probes have calls of their own.
pub fn note(view: &View) -> Option<String> {
    let own_call = |column: Column| matches!(column, Column::Milk | Column::Conductivity(_));
    let named = going_on(view).filter(|stuck| stuck.began && !own_call(stuck.column));
    let mut names: Vec<String> = named
        .filter_map(|stuck| {
            let since = when::instant(stuck.from, view.at, &view.ways.zone);
            Some(format!("{} {} (since {since})", stuck.column.words(), whose(view, stuck)?))
        })
        .collect();
    if names.is_empty() {
        return None;
    }
    let more = names.len().saturating_sub(NAMED);
    if 0 < more {
        names.truncate(NAMED);
        names.push(format!("{} more", number::count(more)));
    }
    Some(format!(
        "Not judged, because a sensor sends what no cow does: {}. Records has what is said of each.",
        when::join(&names)
    ))
}

/// `38.5`, `600`.
fn figure(value: f64) -> String {
    let words = number::plain(value, 3);
    if words.contains('.') { words.trim_end_matches('0').trim_end_matches('.').to_owned() } else { words }
}

fn upper(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

#[cfg(test)]
mod tests;

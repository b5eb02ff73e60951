//! What must hold of a map before any file is read with it.

use std::collections::BTreeSet;

use cowpath_core::tables::Kind;

use super::moment::wall;
use super::{ColumnMap, DayOrder, Take, plain_word};

/// Which part of an entry is meant.
pub(crate) enum Part {
    From,
    To,
    Whole,
}

/// Place of the entry, part of it, what is wrong, what to do.
pub(crate) type Fault = (Option<usize>, Part, String, String);

/// Longest sign between values that share a cell, bytes.
const LONGEST_SPLIT: usize = 8;

/// # Errors
/// The first thing that does not hold.
pub(crate) fn check(map: &ColumnMap) -> Result<(), Fault> {
    entries(map)?;
    let missing = map.lacks();
    if missing.is_empty() {
        return Ok(());
    }
    let what =
        format!("no row of `{}` can do without {}", map.table.name, crate::trouble::listed(&missing, "and"));
    let next = "add an entry for it: with `from`, or with `value` if it is the same for every row";
    Err((None, Part::Whole, what, next.into()))
}

/// The same of a map that may still lack what no row can do without.
///
/// # Errors
/// The first thing that does not hold.
pub(crate) fn entries(map: &ColumnMap) -> Result<(), Fault> {
    let columns = map.table.columns;
    let mut taken = BTreeSet::new();
    for (at, take) in map.takes.iter().enumerate() {
        for &target in &take.to {
            if !taken.insert(target) {
                let what = format!("`{}` is filled twice", columns[target].name);
                return Err((Some(at), Part::To, what, "keep one of the two entries".into()));
            }
        }
    }
    for (at, take) in map.takes.iter().enumerate() {
        one(map, take, &taken).map_err(|(part, what, next)| (Some(at), part, what, next))?;
    }
    if !map.columns.is_empty() && map.header {
        let known: BTreeSet<String> = map.columns.iter().map(|word| plain_word(word)).collect();
        for (at, take) in map.takes.iter().enumerate() {
            if let Some(word) = take.from.iter().find(|word| !known.contains(&plain_word(word))) {
                let what = format!("`{word}` is not among the `columns` of the map");
                let next = "write it as `columns` has it, or add it there";
                return Err((Some(at), Part::From, what, next.into()));
            }
        }
    }
    Ok(())
}

fn one(map: &ColumnMap, take: &Take, taken: &BTreeSet<usize>) -> Result<(), (Part, String, String)> {
    let columns = map.table.columns;
    let say = |part, what: &str, next: &str| Err((part, what.to_owned(), next.to_owned()));
    let all_times = take.to.iter().all(|&target| columns[target].kind == Kind::Time);
    if take.to.is_empty() {
        return say(Part::To, "`to` names no column", "name one column of ours");
    }
    if take.from.is_empty() != take.value.is_some() {
        return say(
            Part::Whole,
            "an entry has either `from`, the file's column, or `value`, the same for every row",
            "write one of the two",
        );
    }
    if take.value.is_some() && (1 < take.to.len() || take.split.is_some()) {
        return say(Part::To, "a `value` fills one column", "write an entry for each column");
    }
    match &take.split {
        None if 1 < take.to.len() => {
            return say(
                Part::To,
                "several columns from one",
                "write `split`, the sign between the values, too",
            );
        }
        Some(split) if split.is_empty() || LONGEST_SPLIT < split.len() || take.to.len() < 2 => {
            return say(
                Part::To,
                "`split` is the sign between values that fill several columns",
                "name those columns in `to`, in the order of the cell, or leave `split` out",
            );
        }
        _ => {}
    }
    let is_day_or_time = |target: &usize| matches!(columns[*target].kind, Kind::Time | Kind::Date);
    match take.from.len() {
        0 | 1 => {}
        2 if all_times && take.split.is_none() && take.after.is_none() && take.before.is_none() => {}
        _ => {
            return say(
                Part::From,
                "only a time may come from two columns, its day and its time of day",
                "name one column",
            );
        }
    }
    if take.after.is_some() && take.before.is_some() {
        return say(Part::Whole, "a length of time is either `after` or `before` another column", "keep one");
    }
    for base in [take.after, take.before, take.next_day_of].into_iter().flatten() {
        let own = map.takes.iter().find(|other| other.to.contains(&base));
        let fits = all_times
            && columns[base].kind == Kind::Time
            && !take.to.contains(&base)
            && taken.contains(&base)
            && own
                .is_some_and(|own| own.after.is_none() && own.before.is_none() && own.next_day_of.is_none());
        if !fits {
            return say(
                Part::Whole,
                "`after`, `before` and `next_day_of` name another time of ours that the file has itself",
                "name such a column, like `started_at`, and give it an entry of its own",
            );
        }
    }
    let order = take.order.unwrap_or(map.order);
    let counted = matches!(order, DayOrder::Serial | DayOrder::UnixSeconds | DayOrder::UnixMilliseconds);
    if counted && take.from.len() == 2 {
        return say(Part::From, "a count of days or seconds needs no second column", "name one column");
    }
    if let Some(clock) = &take.clock {
        let reads = wall(clock, DayOrder::YearMonthDay)
            .is_some_and(|wall| wall.day.is_none() && wall.offset.is_empty());
        if !reads || !all_times || take.from.len() != 1 {
            return say(
                Part::Whole,
                "`clock` is the time of day, like 12:00, of a column that holds days only",
                "write it so, or leave it out",
            );
        }
    }
    if take.order.is_some() && !take.to.iter().all(is_day_or_time) {
        return say(Part::Whole, "`order` is for days and times", "leave it out here");
    }
    if take.unit.is_some()
        && take.to.iter().any(|&target| is_day_or_time(&target))
        && take.after.or(take.before).is_none()
    {
        return say(Part::Whole, "`unit` is for figures and lengths of time", "leave it out here");
    }
    Ok(())
}

//! Days, times of day and lengths of time, put together into the times of a table.

use cowpath_core::tables::{Kind, Table};

use super::choose::Head;
use super::seen::{Seen, Shape};
use super::words::Fit;
use super::{Draft, Mark};
use crate::column_map::measure::Measure;

/// A column that tells when.
#[derive(Debug, Clone, Copy)]
struct Own {
    at: usize,
    concept: &'static str,
    fit: Fit,
    shape: Shape,
}

/// Which of our times the concepts of a table become: first, second.
fn roles(table: &Table) -> (&'static [&'static str], &'static str, &'static [&'static str], &'static str) {
    match table.name {
        "visits" => (&["start", "from"], "started_at", &["end", "to"], "ended_at"),
        "movement" => (&["from", "start", "moment"], "from", &[], ""),
        "events" => (&["moment", "start", "from"], "at", &[], ""),
        "recordings" => (&["date", "moment", "start"], "on", &[], ""),
        "pickups" => (&["collected", "moment", "start"], "collected_at", &[], ""),
        "box-states" => (&["from", "start"], "from", &["to", "end"], "to"),
        "bunk" => (&["delivered", "moment", "start"], "delivered_at", &[], ""),
        "pushes" => (&["moment", "start"], "at", &[], ""),
        _ => (&[], "", &[], ""),
    }
}

/// Drafts of a table's times. Columns that tell when and are not in a draft are left to be not used.
pub(crate) fn drafts(table: &'static Table, heads: &[Head], seen: &[Seen]) -> Vec<Draft> {
    let (first_words, first, second_words, second) = roles(table);
    if first.is_empty() {
        return Vec::new();
    }
    let (Some(first_at), second_at) = (table.index(first), table.index(second)) else { return Vec::new() };
    let own: Vec<Own> = heads
        .iter()
        .enumerate()
        .filter(|(_, head)| head.quarters.is_empty())
        .flat_map(|(at, head)| {
            head.meanings.iter().map(move |meaning| Own {
                at,
                concept: meaning.concept,
                fit: meaning.fit,
                shape: seen[at].shape,
            })
        })
        .collect();
    let find = |concepts: &[&str], shapes: &[Shape]| {
        let fits = |own: &&Own| concepts.contains(&own.concept) && shapes.contains(&own.shape);
        let known = own.iter().filter(|own| own.fit == Fit::Known).find(fits);
        known.or_else(|| own.iter().find(fits)).copied()
    };
    let sure = |own: Own| own.fit == Fit::Known;
    let day = find(&["date", "moment", "start", "collected", "from", "delivered"], &[Shape::Day]);
    let mut drafts: Vec<Draft> = Vec::new();
    let is_date = table.columns[first_at].kind == Kind::Date;
    let clock = find(&["clock"], &[Shape::Clock]);
    let usual: &[Shape] = if is_date { &[Shape::Day, Shape::Moment] } else { &[Shape::Moment] };
    let alone = find(first_words, usual);
    let clock_of_first = find(first_words, &[Shape::Clock]);
    if let Some(own) = alone {
        drafts.push(Draft::of(own.at, first_at, sure(own), "the header says so, and the cells are times"));
    } else if let (Some(day), Some(own)) = (day, clock_of_first) {
        let mut draft =
            Draft::of(own.at, first_at, sure(own) && sure(day), "its day stands in a column of its own");
        draft.from = vec![day.at, own.at];
        drafts.push(draft);
    } else if let (Some(day), Some(clock)) = (day, clock) {
        let named = first_words.contains(&day.concept) || second_at.is_none();
        let reason = if named {
            "day and time of day in two columns"
        } else {
            "day and time of day in two columns; whether of entry or exit the header does not say"
        };
        let mut draft = Draft::of(day.at, first_at, named && sure(day) && sure(clock), reason);
        draft.from = vec![day.at, clock.at];
        drafts.push(draft);
    } else if let Some(own) = find(&["date", "moment", "clock"], usual) {
        let named = second_at.is_none();
        let reason = if named {
            "the only time of a row"
        } else {
            "a time; whether of entry or exit the header does not say"
        };
        drafts.push(Draft::of(own.at, first_at, named && sure(own), reason));
    } else if let Some(day) = day.filter(|_| second_at.is_none() && table.name != "movement") {
        let mut draft =
            Draft::of(day.at, first_at, false, "a day without a time of day: noon is put in its place");
        draft.clock = Some("12:00".into());
        drafts.push(draft);
    }
    if table.name == "movement"
        && drafts.is_empty()
        && let Some(day) = day
    {
        let mut draft =
            Draft::of(day.at, first_at, false, "a day without a time of day: its midnight is taken");
        draft.clock = Some("00:00".into());
        drafts.push(draft);
    }
    let has_first = !drafts.is_empty();
    let length =
        find(&["duration"], &[Shape::Figure, Shape::Clock]).or_else(|| unnamed_length(table, heads, seen));
    let span = |own: Own, target: usize, base: usize, after: bool, reason: &str| {
        let measure = measure_of(&heads[own.at], &seen[own.at]);
        let told = measure.is_some();
        let one_meaning =
            heads[own.at].meanings.iter().filter(|meaning| meaning.fit == Fit::Known).count() == 1;
        let mut draft = Draft::of(own.at, target, sure(own) && told && one_meaning, reason);
        draft.unit = measure;
        if !told {
            draft.reason += "; the header names no unit, seconds are taken";
        }
        if after {
            draft.after = Some(base)
        } else {
            draft.before = Some(base)
        }
        draft
    };
    let Some(second_at) = second_at else { return drafts };
    let end = find(second_words, &[Shape::Moment]);
    let end_clock = find(second_words, &[Shape::Clock]);
    if let Some(own) = end {
        drafts.push(Draft::of(own.at, second_at, sure(own), "the header says so, and the cells are times"));
    } else if let (Some(day), Some(own), true) = (day, end_clock, has_first) {
        let mut draft = Draft::of(
            own.at,
            second_at,
            sure(own) && sure(day),
            "its day stands in a column of its own; past midnight it is the next day",
        );
        draft.from = vec![day.at, own.at];
        draft.next_day_of = Some(first_at);
        drafts.push(draft);
    } else if let (Some(own), true) = (length, has_first) {
        drafts.push(span(own, second_at, first_at, true, "a length of time, counted from the beginning"));
    }
    if !has_first && let (Some(own), true) = (length, drafts.iter().any(|draft| draft.to == [second_at])) {
        drafts.push(span(own, first_at, second_at, false, "a length of time, counted back from the end"));
    }
    if table.name == "visits"
        && let Some(attached_at) = table.index("attached_at")
    {
        if let Some(own) = find(&["attached"], &[Shape::Moment]) {
            drafts.push(Draft::of(
                own.at,
                attached_at,
                sure(own),
                "the header says so, and the cells are times",
            ));
        } else if let (Some(day), Some(own), true) = (day, find(&["attached"], &[Shape::Clock]), has_first) {
            let reason = "its day stands in a column of its own; past midnight it is the next day";
            let mut draft = Draft::of(own.at, attached_at, sure(own) && sure(day), reason);
            draft.from = vec![day.at, own.at];
            draft.next_day_of = Some(first_at);
            drafts.push(draft);
        } else if let Some(own) = find(&["prepare"], &[Shape::Figure, Shape::Clock])
            && drafts.iter().any(|draft| draft.to == [first_at] && draft.before.is_none())
        {
            drafts.push(span(
                own,
                attached_at,
                first_at,
                true,
                "a length of time, counted from the beginning",
            ));
        }
    }
    drafts
}

/// A column whose unit is one of time and whose header says no more, where a visit's length is wanted.
fn unnamed_length(table: &Table, heads: &[Head], seen: &[Seen]) -> Option<Own> {
    if table.name != "visits" {
        return None;
    }
    let is_length = |at: &usize| {
        let (head, own) = (&heads[*at], &seen[*at]);
        let named = head.unit.clone().and_then(Result::ok).filter(|measure| measure.span_ms().is_some());
        head.meanings.is_empty()
            && head.quarters.is_empty()
            && !head.otherwise
            && named.is_some_and(|measure| measure != Measure::Own)
            && matches!(own.shape, Shape::Figure | Shape::Clock)
    };
    let at = (0..heads.len()).find(is_length)?;
    Some(Own { at, concept: "duration", fit: Fit::Like, shape: seen[at].shape })
}

/// The measure of a length of time: as the header says, or as its cells are written.
fn measure_of(head: &Head, seen: &Seen) -> Option<Measure> {
    let named = head.unit.clone().and_then(Result::ok).filter(|measure| measure.span_ms().is_some());
    if seen.shape == Shape::Clock {
        let three = seen.examples.iter().all(|cell| cell.matches(':').count() == 2);
        return named.filter(|measure| measure.is_clock()).or(three.then_some(Measure::HoursAndMinutes)).or(
            // Nobody stays for hours: 6:32 is of minutes.
            Some(Measure::MinutesAndSeconds).filter(|_| !three),
        );
    }
    if named.is_some_and(|measure| measure != Measure::Own) {
        return named;
    }
    let middle = super::seen::median(&seen.figures)?;
    match middle {
        60.0..3600.0 => Some(Measure::Seconds),
        2.0..20.0 => Some(Measure::Minutes),
        _ => None,
    }
}

/// Why a column that tells when is not used.
pub(crate) fn not_used(head: &Head, table: &Table, drafts: &[Draft]) -> Option<(Mark, String)> {
    let meaning = head.meanings.first().filter(|meaning| meaning.fit == Fit::Known)?;
    if !super::choose::is_time(meaning.concept)
        || super::choose::target(table, meaning.concept, None).is_some()
    {
        return None;
    }
    let (_, first, _, second) = roles(table);
    let filled =
        |name: &str| table.index(name).is_none_or(|at| drafts.iter().any(|draft| draft.to.contains(&at)));
    (filled(first) && filled(second))
        .then(|| (Mark::NotUsed, "other columns tell these times already".to_owned()))
}

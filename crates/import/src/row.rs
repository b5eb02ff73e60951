//! One record into the cells of its table.

use cowpath_core::tables::{Cell, Kind};

use crate::cells;
use crate::faults::{Fault, MEND, wrong, wrong_mapped};
use crate::figure::figure;
use crate::issue::Wrong;
use crate::order::Choice;
use crate::records::Cells;
use crate::sniff::Plan;
use crate::time::{Clock, Moment, Twice};

/// What one record is.
#[derive(Debug)]
pub(crate) enum Typed {
    /// A row; its time in the order of rows, ms; and the header word of a time that came twice and was read as the one
    /// that fits the row's first time.
    Row { order_ms: Option<i64>, fitted: Option<usize> },
    /// The time that orders rows came twice: other rows must tell which it is.
    Waits(Twice),
    /// No cell holds anything: a blank line.
    Blank,
    /// It cannot be used.
    Refused(Refused),
}

/// Why, and which column of the file to look at.
#[derive(Debug)]
pub(crate) struct Refused {
    pub source: Option<usize>,
    pub wrong: Wrong,
}

/// Reads a record into `row`. `choice` says which instant the ordering time is, if it came twice.
pub(crate) fn read(
    plan: &Plan,
    clock: &mut Clock,
    now_ms: i64,
    (cells, record, cut): (&Cells, &[u8], bool),
    choice: Choice,
    row: &mut Vec<Cell>,
) -> Typed {
    let columns = plan.table.columns;
    if cells.count() != plan.header.len() && !is_padded(plan.header.len(), cells, record) {
        return if is_blank(cells, record) {
            Typed::Blank
        } else {
            let figures = plan.used.iter().any(|used| matches!(used.kind, Kind::Number { .. }));
            Typed::Refused(miscounted(cells.count(), plan.header.len(), cut, "a comma", figures))
        };
    }
    row.resize(columns.len(), Cell::Missing);
    for &target in &plan.absent {
        row[target] = Cell::Missing;
    }
    let mut faults: Vec<(usize, Fault)> = Vec::new();
    let mut twices: Vec<(usize, Twice)> = Vec::new();
    for (at, used) in plan.used.iter().enumerate() {
        let text = trimmed(cells.of(record, used.source));
        let cell = &mut row[used.target];
        if text.is_empty() {
            *cell = Cell::Missing;
            if used.required {
                faults.push((at, Fault::Empty));
            }
            continue;
        }
        if used.span.is_some() {
            continue;
        }
        match cells::read(used, text, clock, cell) {
            Ok(None) => {}
            Ok(Some(Moment::At(ms))) => {
                let put = if now_ms < ms && !may_lie_ahead(columns[used.target].name) {
                    Err(Fault::Future)
                } else {
                    cells::put_time(cell, ms)
                };
                if let Err(fault) = put {
                    faults.push((at, fault));
                }
            }
            Ok(Some(Moment::Twice(twice))) => twices.push((at, twice)),
            Err(fault) => faults.push((at, fault)),
        }
    }
    let mut fitted = None;
    if !twices.is_empty() && faults.is_empty() {
        match choose(plan, clock, now_ms, choice, &twices, row) {
            Ok(Chosen::Waits(twice)) => return Typed::Waits(twice),
            Ok(Chosen::Fitted(source)) => fitted = source,
            Err(fault) => faults.push(fault),
        }
    }
    if faults.is_empty() && plan.has_spans {
        put_spans(plan, (cells, record), now_ms, row, &mut faults);
    }
    if !faults.is_empty() {
        if is_blank(cells, record) {
            return Typed::Blank;
        }
        return Typed::Refused(faulty(plan, cells, record, &faults));
    }
    if let Err(disagreement) = (plan.table.agrees)(row) {
        let used = plan.used.iter().find(|used| columns[used.target].name == disagreement.column);
        return Typed::Refused(Refused {
            source: used.map(|used| used.source),
            wrong: Wrong::new(disagreement.reason, disagreement.remedy),
        });
    }
    let order_ms = plan.order.and_then(|order| row[order].time()).map(|time| time.as_millisecond());
    Typed::Row { order_ms, fitted }
}

/// Longest length of time that a cell may hold, ms: a day.
const LONGEST_SPAN_MS: f64 = 86_400_000.0;

/// Times that a map reads as lengths of time from or to another one, once that one is known as an instant.
fn put_spans(
    plan: &Plan,
    (cells, record): (&Cells, &[u8]),
    now_ms: i64,
    row: &mut [Cell],
    faults: &mut Vec<(usize, Fault)>,
) {
    for (at, used) in plan.used.iter().enumerate() {
        let Some(span) = used.span else { continue };
        let text = trimmed(cells.of(record, used.source));
        let base = row[span.base].time().map(|time| time.as_millisecond());
        row[used.target] = Cell::Missing;
        let Some(base) = base.filter(|_| !text.is_empty()) else {
            if used.required {
                faults.push((at, Fault::Empty));
            }
            continue;
        };
        let put = match figure(text) {
            Ok(length) if 0.0 <= length && length * span.unit_ms.abs() <= LONGEST_SPAN_MS => {
                let ms = base + (length * span.unit_ms).round() as i64;
                let ahead = now_ms < ms && !may_lie_ahead(plan.table.columns[used.target].name);
                if ahead { Err(Fault::Future) } else { cells::put_time(&mut row[used.target], ms) }
            }
            _ => Err(Fault::Span),
        };
        if let Err(fault) = put {
            faults.push((at, fault));
        }
    }
}

enum Chosen {
    Waits(Twice),
    Fitted(Option<usize>),
}

/// Decides times that came twice: the ordering one as told, the others as the least that is not before it. Milk is held
/// until the later of the two: an hour too long does no harm.
fn choose(
    plan: &Plan,
    clock: &Clock,
    now_ms: i64,
    choice: Choice,
    twices: &[(usize, Twice)],
    row: &mut [Cell],
) -> Result<Chosen, (usize, Fault)> {
    let undecided = |twice: Twice| {
        Fault::Undecided(format!("{} or {}", clock.written(twice.first), clock.written(twice.second)))
    };
    let mut fitted = None;
    let is_order = |at: usize| Some(plan.used[at].target) == plan.order;
    let ordering = twices.iter().filter(|(at, _)| is_order(*at));
    for &(at, twice) in ordering.chain(twices.iter().filter(|(at, _)| !is_order(*at))) {
        let used = &plan.used[at];
        let name = plan.table.columns[used.target].name;
        let ms = if is_order(at) {
            match choice {
                Choice::Open => return Ok(Chosen::Waits(twice)),
                Choice::First => twice.first,
                Choice::Second => twice.second,
                Choice::Undecided => return Err((at, undecided(twice))),
            }
        } else {
            if choice == Choice::Open {
                fitted = Some(used.source);
            }
            let order = plan.order.and_then(|order| row[order].time()).map(|time| time.as_millisecond());
            match order {
                None => return Err((at, undecided(twice))),
                Some(_) if name == "until" => twice.second,
                Some(order) if twice.first < order => twice.second,
                Some(_) => twice.first,
            }
        };
        if now_ms < ms && !may_lie_ahead(name) {
            return Err((at, Fault::Future));
        }
        cells::put_time(&mut row[used.target], ms).map_err(|fault| (at, fault))?;
    }
    Ok(Chosen::Fitted(fitted))
}

/// Milk is held until a day to come; nothing else of a log can be known before its time.
fn may_lie_ahead(column: &str) -> bool {
    column == "until"
}

/// The first fault in words, and the names of the other columns to look at.
fn faulty(plan: &Plan, cells: &Cells, record: &[u8], faults: &[(usize, Fault)]) -> Refused {
    let Some((first, others)) = faults.split_first() else {
        return Refused { source: None, wrong: Wrong::new("cannot be used", MEND) };
    };
    let (at, fault) = first;
    let used = &plan.used[*at];
    let word = &plan.header[used.source];
    let text = trimmed(cells.of(record, used.source));
    let mut wrong = wrong(fault, &plan.table.columns[used.target], used, word, text);
    if plan.is_mapped {
        wrong = wrong_mapped(fault, wrong, text);
    }
    if !others.is_empty() {
        let names: Vec<&str> =
            others.iter().map(|(at, _)| plan.header[plan.used[*at].source].as_str()).collect();
        wrong.reason += &format!("; nor can {} of this row be used", crate::trouble::listed(&names, "and"));
    }
    Refused { source: Some(used.source), wrong }
}

/// A row with other than the header's number of cells.
pub(crate) fn miscounted(has: usize, wanted: usize, cut: bool, separator: &str, figures: bool) -> Refused {
    let wrong = if has < wanted && cut {
        Wrong::new(
            format!("the file ends in the middle of this row, in cell {has} of {wanted}"),
            "the rows before it were read; export or copy the file again, whole, and read it again"
                .to_owned(),
        )
    } else if has < wanted {
        Wrong::new(format!("the row has {has} cells, the header {wanted}"), MEND)
    } else {
        let hint = if figures { "figures must have points as decimal signs, and " } else { "" };
        Wrong::new(
            format!("the row has {has} cells, the header {wanted}"),
            format!("{hint}text that holds {separator} must stand in quotation marks; {MEND}"),
        )
    };
    Refused { source: None, wrong }
}

/// More cells than the header, but the rest are empty: some programs close each row with commas.
pub(crate) fn is_padded(wanted: usize, cells: &Cells, record: &[u8]) -> bool {
    wanted < cells.count() && (wanted..cells.count()).all(|at| trimmed(cells.of(record, at)).is_empty())
}

/// Nothing in any cell.
pub(crate) fn is_blank(cells: &Cells, record: &[u8]) -> bool {
    (0..cells.count()).all(|at| trimmed(cells.of(record, at)).is_empty())
}

/// Without blanks around it.
#[inline]
pub(crate) fn trimmed(text: &[u8]) -> &[u8] {
    match text {
        [first, .., last] if b' ' < *first && b' ' < *last => text,
        _ => text.trim_ascii(),
    }
}

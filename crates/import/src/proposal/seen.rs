//! What stands in one column of a sample: figures, days, times, words.

use std::collections::BTreeMap;

use super::dialect::Grid;
use super::words::says_nothing;
use crate::column_map::measure::Measure;
use crate::column_map::moment::{DayOrder, wall};
use crate::column_map::signs::figure;
use crate::figure;

/// Different words kept of a column.
const MOST_WORDS: usize = 60;

/// What the cells of a column are, where nearly all are one thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shape {
    Empty,
    Figure,
    /// A day and a time of day.
    Moment,
    Day,
    /// A time of day, or a length of time written like one.
    Clock,
    /// Fifteen digits.
    Digits15,
    /// Four values in one cell.
    Four,
    Words,
}

/// One column of a sample.
#[derive(Debug)]
pub(crate) struct Seen {
    pub shape: Shape,
    /// Cells that hold something.
    pub filled: usize,
    /// Every figure, sorted; of four in a cell all of them.
    pub figures: Vec<f64>,
    /// The sign between four values.
    pub split: Option<&'static str>,
    /// The first cells that hold something.
    pub examples: Vec<String>,
    /// Different cells and how often, as long as they are few.
    pub words: BTreeMap<String, usize>,
    /// Whether there are more different ones than kept.
    pub many: bool,
    /// Cells that say that nothing was measured.
    pub nothing: Vec<String>,
    /// Days of which the first, second part is over 12, or the first is a year.
    pub day_first: usize,
    pub month_first: usize,
    pub year_first: usize,
    /// Days with a full stop between the parts.
    pub dotted: usize,
    /// Days seen.
    pub days: usize,
    /// Whether a three-digit group makes decimal and thousands sign hard to tell here.
    pub grouped: bool,
}

pub(crate) fn median(sorted: &[f64]) -> Option<f64> {
    sorted.get(sorted.len() / 2).copied()
}

pub(crate) fn parse(text: &str, decimal: u8, thousands: Option<u8>) -> Option<f64> {
    let mut out = Vec::with_capacity(text.len());
    figure(text.as_bytes(), decimal, thousands, &mut out);
    figure::figure(&out).ok()
}

/// Looks at a column.
pub(crate) fn column(grid: &Grid, at: usize) -> Seen {
    let mut seen = Seen {
        shape: Shape::Empty,
        filled: 0,
        figures: Vec::new(),
        split: None,
        examples: Vec::new(),
        words: BTreeMap::new(),
        many: false,
        nothing: Vec::new(),
        day_first: 0,
        month_first: 0,
        year_first: 0,
        dotted: 0,
        days: 0,
        grouped: false,
    };
    let cells: Vec<&str> = grid
        .rows
        .iter()
        .filter_map(|row| row.get(at))
        .map(String::as_str)
        .filter(|cell| !cell.is_empty())
        .collect();
    let (mut figures, mut moments, mut days, mut clocks, mut long, mut fours, mut all_words) =
        (0, 0, 0, 0, 0, 0, 0);
    let split = four_split(&cells, grid.decimal);
    for cell in &cells {
        if says_nothing(cell) {
            if !seen.nothing.iter().any(|own| own == cell) && seen.nothing.len() < 5 {
                seen.nothing.push((*cell).to_owned());
            }
            continue;
        }
        seen.filled += 1;
        if seen.examples.len() < 3 && !seen.examples.iter().any(|own| own == cell) {
            seen.examples.push((*cell).to_owned());
        }
        if seen.words.len() < MOST_WORDS || seen.words.contains_key(*cell) {
            *seen.words.entry((*cell).to_owned()).or_default() += 1;
        } else {
            seen.many = true;
        }
        let bare: String = cell.chars().filter(|letter| !matches!(letter, ' ' | '-' | '.')).collect();
        if bare.len() == 15 && bare.bytes().all(|byte| byte.is_ascii_digit()) {
            long += 1;
        } else if let Some(figure) = parse(cell, grid.decimal, grid.thousands) {
            figures += 1;
            seen.figures.push(figure);
            let behind = cell.rsplit([',', '.']).next().unwrap_or_default();
            seen.grouped |= behind.len() < cell.len() && behind.len() == 3;
        } else if let Some(split) = split.filter(|split| four(cell, split, grid.decimal).is_some()) {
            fours += 1;
            seen.figures.extend(four(cell, split, grid.decimal).unwrap_or_default());
        } else if let Some((has_day, has_clock)) = form(cell) {
            match (has_day, has_clock) {
                (true, true) => moments += 1,
                (true, false) => days += 1,
                _ => clocks += 1,
            }
            if has_day {
                seen.look_at_day(cell);
            }
        } else {
            all_words += 1;
        }
    }
    seen.figures.sort_by(f64::total_cmp);
    let counts = [
        (figures, Shape::Figure),
        (moments, Shape::Moment),
        (days, Shape::Day),
        (clocks, Shape::Clock),
        (long, Shape::Digits15),
        (fours, Shape::Four),
        (all_words, Shape::Words),
    ];
    let (most, shape) =
        counts.into_iter().fold((0, Shape::Empty), |best, next| if best.0 < next.0 { next } else { best });
    seen.shape = if most * 10 < seen.filled * 9 { Shape::Words } else { shape };
    seen.split = split.filter(|_| seen.shape == Shape::Four);
    seen
}

impl Seen {
    fn look_at_day(&mut self, cell: &str) {
        self.days += 1;
        let numbers: Vec<&str> =
            cell.split(|letter: char| !letter.is_ascii_digit()).filter(|part| !part.is_empty()).collect();
        let value = |at: usize| numbers.get(at).and_then(|part| part.parse::<u32>().ok());
        let first = cell.find(|letter: char| !letter.is_ascii_digit());
        if numbers.first().is_some_and(|part| part.len() == 4 || part.len() == 8) {
            self.year_first += 1;
        } else if value(0).is_some_and(|value| 12 < value) {
            self.day_first += 1;
        } else if value(1).is_some_and(|value| 12 < value)
            && numbers.get(1).is_some_and(|part| part.len() <= 2)
        {
            self.month_first += 1;
        }
        if first.is_some_and(|at| cell[at..].starts_with('.')) {
            self.dotted += 1;
        }
    }
}

/// Whether a cell holds a day, and a time of day, in any order of days.
fn form(cell: &str) -> Option<(bool, bool)> {
    if !cell.bytes().any(|byte| byte.is_ascii_digit()) || 40 < cell.len() {
        return None;
    }
    let orders = [DayOrder::YearMonthDay, DayOrder::DayMonthYear, DayOrder::MonthDayYear];
    if let Some(wall) = orders.into_iter().find_map(|order| wall(cell, order)) {
        return Some((wall.day.is_some(), wall.within_ms.is_some()));
    }
    // 75:30 is a length of time, not a time of day.
    Measure::MinutesAndSeconds.clock_seconds(cell).map(|_| (false, true))
}

/// The sign between four values, if most cells have it.
fn four_split(cells: &[&str], decimal: u8) -> Option<&'static str> {
    ["/", ";", "|", " - ", "-", ",", " "].into_iter().find(|split| {
        let fours = cells.iter().filter(|cell| four(cell, split, decimal).is_some()).count();
        0 < fours && cells.len() * 8 <= fours * 10
    })
}

/// Four figures of a cell; one or two of them may be empty.
fn four(cell: &str, split: &str, decimal: u8) -> Option<Vec<f64>> {
    if split.as_bytes() == [decimal] {
        return None;
    }
    let parts: Vec<&str> = cell.split(split).map(str::trim).collect();
    if parts.len() != 4 {
        return None;
    }
    let figures: Vec<f64> = parts.iter().filter_map(|part| parse(part, decimal, None)).collect();
    let empty = parts.iter().filter(|part| part.is_empty() || says_nothing(part)).count();
    (figures.len() + empty == 4 && 2 <= figures.len()).then_some(figures)
}

/// The order of days of a whole file, and whether it is in doubt.
pub(crate) fn order_of(columns: &[Seen]) -> (DayOrder, Option<String>) {
    let sum = |of: fn(&Seen) -> usize| columns.iter().map(of).sum::<usize>();
    let (day, month, year) =
        (sum(|seen| seen.day_first), sum(|seen| seen.month_first), sum(|seen| seen.year_first));
    match (day, month) {
        (0, 0) if sum(|seen| seen.days) == year => (DayOrder::YearMonthDay, None),
        (0, 0) if 0 < sum(|seen| seen.dotted) => (DayOrder::DayMonthYear, None),
        (0, 0) => (
            DayOrder::DayMonthYear,
            Some("no day of the sample is over 12, so that day and month cannot be told apart".to_owned()),
        ),
        (_, 0) => (DayOrder::DayMonthYear, None),
        (0, _) => (DayOrder::MonthDayYear, None),
        _ => (
            if month < day { DayOrder::DayMonthYear } else { DayOrder::MonthDayYear },
            Some("some days can only be day-first and others only month-first".to_owned()),
        ),
    }
}

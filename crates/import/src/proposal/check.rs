//! Does the proposed map hold on the sample? What does not makes its columns unsure, and is said.

use std::convert::Infallible;

use cowpath_core::tables::{Cell, Kind, Table};

use super::bands::short;
use super::dialect::Grid;
use super::sample::Sample;
use super::seen::{Seen, median, parse};
use super::{Draft, Mark, Proposal, Proposed};
use crate::column_map::moment::wall;
use crate::column_map::{ColumnMap, Take};
use crate::issue::{Issue, IssueKind};
use crate::stream::Encoding;
use crate::time::days_since_1970;
use crate::{Reading, Sink};

/// Rows shown.
const SHOWN: usize = 10;
/// Shares of refused rows from which a column is unsure: one in fifty.
const ONE_IN: u64 = 50;

/// Doubts about the file as a whole, onto the columns they bear on.
pub(super) fn doubts(
    table: &'static Table,
    grid: &Grid,
    seen: &[Seen],
    (order, other): (Option<String>, Option<&'static Table>),
    drafts: &mut [Draft],
    warnings: &mut Vec<String>,
) {
    if let Some(other) = other {
        let reason = format!("the file may be `{}` as well as `{}`", other.name, table.name);
        for draft in drafts.iter_mut() {
            draft.sure = false;
        }
        warnings.push(reason);
    }
    if let Some(doubt) = order {
        for draft in drafts.iter_mut() {
            let is_day = draft.to.iter().any(|&to| matches!(table.columns[to].kind, Kind::Time | Kind::Date));
            if is_day && draft.from.iter().any(|&at| 0 < seen[at].days) {
                draft.sure = false;
                draft.reason += &format!("; {doubt}");
            }
        }
        warnings.push(format!("{doubt}: look whether `order` is right"));
    }
    if let Some(doubt) = &grid.doubt {
        for draft in drafts.iter_mut() {
            if draft.from.iter().any(|&at| seen[at].grouped) {
                draft.sure = false;
                draft.reason += &format!("; {doubt}");
            }
        }
        warnings.push(format!("{doubt}: look whether `decimal` is right"));
    }
    for draft in drafts.iter().filter(|draft| !draft.unknown_words.is_empty()) {
        let shown: Vec<&str> = draft.unknown_words.iter().take(8).map(String::as_str).collect();
        warnings.push(format!(
            "words of \"{}\" that the map does not know: \"{}\"; their rows go to quarantine until `words` of the map has them",
            grid.header[draft.column],
            shown.join("\", \"")
        ));
    }
    if 0 < grid.above {
        warnings.push(format!(
            "{} above the header {} not read",
            if grid.above == 1 { "one line".to_owned() } else { format!("{} lines", grid.above) },
            if grid.above == 1 { "is" } else { "are" }
        ));
    }
    if !grid.has_header {
        warnings.push("the file has no header: columns are known by their place alone".into());
    }
}

/// The four quarters of a signal come in one unit: where their values told different ones, none is sure.
pub(super) fn one_unit(table: &Table, drafts: &mut [Draft], warnings: &mut Vec<String>) {
    for ending in ["kg", "s", "flow_kg_min", "peak_kg_min", "ms_cm", "takeoff_kg_min"] {
        let own: Vec<usize> = super::quarters::NAMES
            .iter()
            .filter_map(|quarter| table.index(&format!("{quarter}_{ending}")))
            .filter_map(|target| drafts.iter().position(|draft| draft.to.contains(&target)))
            .collect();
        let differ = own.windows(2).any(|pair| drafts[pair[0]].unit != drafts[pair[1]].unit);
        if differ {
            for at in own {
                drafts[at].sure = false;
                drafts[at].reason += "; the four quarters seem to be in different units";
            }
            warnings.push(format!("the four quarters' `…_{ending}` seem to be in different units"));
        }
    }
}

/// Do the quarters add up to the whole? Then both are in one unit, and are what they seem.
pub(super) fn quarters_and_whole(
    table: &Table,
    grid: &Grid,
    drafts: &mut [Draft],
    warnings: &mut Vec<String>,
) {
    let place = |name: &str| table.index(name);
    let (Some(milk), Some(first)) = (place("milk_kg"), place("lf_kg")) else { return };
    let of = |drafts: &[Draft], target: usize| drafts.iter().position(|draft| draft.to.contains(&target));
    let Some(whole) = of(drafts, milk) else { return };
    let parts: Vec<usize> = (first..first + 4).filter_map(|target| of(drafts, target)).collect();
    if parts.len() != 4 {
        return;
    }
    let value =
        |row: &[String], at: usize| row.get(at).and_then(|cell| parse(cell, grid.decimal, grid.thousands));
    let (mut agree, mut seen, mut ratios) = (0, 0, Vec::new());
    for row in &grid.rows {
        let sum = match &drafts[parts[0]].split {
            Some(split) => row.get(drafts[parts[0]].column).map(|cell| {
                cell.split(split.as_str())
                    .filter_map(|part| parse(part.trim(), grid.decimal, None))
                    .sum::<f64>()
            }),
            None => parts.iter().map(|&part| value(row, drafts[part].column)).sum::<Option<f64>>(),
        };
        if let (Some(sum), Some(milk)) = (sum, value(row, drafts[whole].column))
            && 0.0 < sum
            && 0.0 < milk
        {
            seen += 1;
            ratios.push(milk / sum);
            agree += usize::from((milk - sum).abs() <= 0.25_f64.max(0.03 * milk));
        }
    }
    if seen < 5 {
        return;
    }
    ratios.sort_by(f64::total_cmp);
    if seen * 8 <= agree * 10 {
        let unit = drafts[parts[0]].unit;
        let sure = parts.iter().all(|&part| drafts[part].sure);
        let own = &mut drafts[whole];
        if own.unit == unit || !own.sure {
            own.unit = unit;
            own.reason += "; the quarters add up to it";
            own.sure |= sure && own.reason.starts_with("the header says so");
        } else {
            let whole_unit = own.unit;
            for part in parts {
                if !drafts[part].sure {
                    drafts[part].unit = whole_unit;
                    drafts[part].sure = true;
                    drafts[part].reason += "; with the others it adds up to the whole, whose unit is named";
                }
            }
        }
        return;
    }
    let ratio = short(median(&ratios).unwrap_or(f64::NAN));
    warnings.push(format!(
        "the quarters' milk does not add up to the whole (whole by sum of quarters: {ratio}): look at units and at which columns these are"
    ));
    for at in parts.into_iter().chain([whole]) {
        drafts[at].sure = false;
    }
}

/// Values that every row needs and the file lacks, where one can be supposed; what cannot goes to `lacks`.
pub(super) fn constants(grid: &Grid, proposal: &mut Proposal) -> Vec<Proposed> {
    let table = proposal.map.table;
    let mut constants = Vec::new();
    for (target, column) in table.columns.iter().enumerate().filter(|(_, column)| column.required) {
        if proposal.map.takes.iter().any(|take| take.to.contains(&target)) {
            continue;
        }
        let (value, reason) = match (table.name, column.name) {
            ("visits" | "box-states", "box") => {
                ("1".to_owned(), "the file names no box: 1 is put in its place".to_owned())
            }
            ("movement", "minutes") => match spacing(grid, &proposal.map) {
                Some(minutes) => (
                    minutes.to_string(),
                    format!(
                        "the file does not say how long a bin is; most begin {minutes} min after the one before"
                    ),
                ),
                None => {
                    proposal.lacks.push(column.name);
                    continue;
                }
            },
            _ => {
                proposal.lacks.push(column.name);
                continue;
            }
        };
        let take = Take { to: vec![target], value: Some(value.clone()), ..Take::default() };
        proposal.map.takes.push(take.clone());
        constants.push(Proposed {
            column: None,
            examples: vec![value],
            to: vec![column.name],
            mark: Mark::Unsure,
            reason,
            take: Some(take),
        });
    }
    constants
}

/// Minutes from one bin of an animal to her next, as most are.
fn spacing(grid: &Grid, map: &ColumnMap) -> Option<i64> {
    let place = |name: &str| {
        let target = map.table.index(name)?;
        let take = map.takes.iter().find(|take| take.to.contains(&target))?;
        let at = |word: &String| grid.header.iter().position(|own| own == word);
        Some((take.from.first().and_then(at)?, take.from.get(1).and_then(at)))
    };
    let ((animal, _), (from, clock)) = (place("animal")?, place("from")?);
    let mut times: std::collections::BTreeMap<&str, Vec<i64>> = std::collections::BTreeMap::new();
    for row in &grid.rows {
        let cell = |at: usize| row.get(at).map(String::as_str);
        let Some(one) = cell(from).and_then(|cell| wall(cell, map.order)) else { continue };
        let two = clock.and_then(cell).and_then(|cell| wall(cell, map.order));
        let Some((year, month, day)) = one.day else { continue };
        let within = two.and_then(|two| two.within_ms).or(one.within_ms).unwrap_or(0);
        let days = days_since_1970(year as i32, month as i32, day as i32);
        times.entry(cell(animal)?).or_default().push(i64::from(days) * 1440 + i64::from(within / 60_000));
    }
    let mut gaps: std::collections::BTreeMap<i64, usize> = std::collections::BTreeMap::new();
    for own in times.values_mut() {
        own.sort_unstable();
        for pair in own.windows(2).filter(|pair| pair[0] < pair[1]) {
            *gaps.entry(pair[1] - pair[0]).or_default() += 1;
        }
    }
    gaps.into_iter()
        .max_by_key(|(gap, times)| (*times, -gap))
        .map(|(gap, _)| gap)
        .filter(|gap| (5..=1440).contains(gap))
}

/// Rows and issues of a sample.
#[derive(Default)]
struct Tried {
    rows: Vec<(u64, Vec<Cell>)>,
    refused: Vec<Issue>,
}

impl Sink for Tried {
    type Error = Infallible;
    fn table(&mut self, _: &'static Table, _: &[String]) -> Result<(), Infallible> {
        Ok(())
    }
    fn row(&mut self, line: u64, cells: &mut Vec<Cell>) -> Result<(), Infallible> {
        if self.rows.len() < SHOWN {
            self.rows.push((line, cells.clone()));
        }
        Ok(())
    }
    fn issue(&mut self, issue: Issue) -> Result<(), Infallible> {
        if issue.kind == IssueKind::RowRefused {
            self.refused.push(issue);
        }
        Ok(())
    }
}

/// Reads the sample with the map, as a file would be read.
pub(super) fn try_out(sample: &Sample, reading: &Reading, proposal: &mut Proposal, drafts: &mut [Draft]) {
    if !proposal.lacks.is_empty() || proposal.map.takes.is_empty() {
        return;
    }
    // Lines that the sample cuts are left out.
    let uncut = |text: &str| text.rfind('\n').map_or(String::new(), |end| text[..=end].to_owned());
    let mut text = if sample.whole { sample.head.clone() } else { uncut(&sample.head) };
    for stretch in &sample.stretches {
        text.push_str(&uncut(stretch));
    }
    let map = ColumnMap { encoding: Encoding::Unicode, ..proposal.map.clone() };
    let reading = Reading { map: Some(std::sync::Arc::new(map)), ..reading.clone() };
    let mut tried = Tried::default();
    let Ok(counts) = crate::read_bytes(text.as_bytes(), &reading, &mut tried) else { return };
    proposal.rows = std::mem::take(&mut tried.rows);
    proposal.sampled = (counts.rows_read, counts.rows_refused);
    let header = &proposal.map.columns;
    let mut by_column: std::collections::BTreeMap<Option<String>, Vec<&Issue>> =
        std::collections::BTreeMap::new();
    for issue in &tried.refused {
        by_column.entry(issue.column.clone()).or_default().push(issue);
    }
    for (column, issues) in by_column {
        let Some(first) = issues.first() else { continue };
        let value = first.value.as_ref().map(|value| format!(" \"{value}\"")).unwrap_or_default();
        let about = column.as_ref().map_or(String::new(), |column| format!("\"{column}\": "));
        proposal.warnings.push(format!(
            "{about}{} of {} rows of the sample would go to quarantine; line {}:{value} {}",
            issues.len(),
            counts.rows_read,
            first.line.unwrap_or_default(),
            first.reason
        ));
        if counts.rows_read <= issues.len() as u64 * ONE_IN {
            let place = column.and_then(|column| header.iter().position(|own| *own == column));
            for draft in drafts.iter_mut().filter(|draft| place.is_some_and(|at| draft.from.contains(&at))) {
                draft.sure = false;
                draft.reason += "; but many rows of the sample cannot be read with it";
            }
        }
    }
}

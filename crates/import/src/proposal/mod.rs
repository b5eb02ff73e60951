//! A column map proposed for a file whose header is not known: what each column may be, why, and how sure that is.
//!
//! A sample of the file is looked at (`sample`): its form (`dialect`), each column's values (`seen`), each header's words,
//! quarters and unit (`words`, `quarters`, `bands`). The table that fits best is chosen (`choose`), times are put together
//! (`times`), the other columns are assigned (`assign`), and the sample is read with the map so made, as any file would be
//! (`check`): what is refused then makes its column unsure.
//!
//! # Sure, unsure, not used
//! *Sure* is said only where the header is a known phrase that means one thing, the values fit it, and the unit is named or
//! can only be one. Two columns that want the same place, a word beside others, a unit that values leave open: *unsure*. A
//! proposal is there to be looked at: nothing is read with it before a person keeps it.

mod assign;
mod bands;
mod check;
mod choose;
mod dialect;
mod quarters;
mod sample;
mod seen;
mod times;
mod words;

use std::collections::BTreeMap;
use std::io::{Read, Seek};

use cowpath_core::tables::{Cell, Table};

use crate::Reading;
use crate::column_map::measure::Measure;
use crate::column_map::{ColumnMap, Take};
use crate::trouble::{Unreadable, listed};

/// How sure a proposed column is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mark {
    /// Header and values agree, and nothing else fits.
    Sure,
    /// Look at it before you keep the map.
    Unsure,
    /// Nothing is read of it.
    NotUsed,
}

impl Mark {
    /// The word for it.
    pub fn word(self) -> &'static str {
        match self {
            Mark::Sure => "sure",
            Mark::Unsure => "unsure",
            Mark::NotUsed => "not used",
        }
    }
}

/// What is proposed for one column of the file, or for one of ours that the file lacks.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposed {
    /// Header word; none for a value that every row gets.
    pub column: Option<String>,
    /// Some of its cells.
    pub examples: Vec<String>,
    /// Our columns; empty if it is not used.
    pub to: Vec<&'static str>,
    /// How sure.
    pub mark: Mark,
    /// Why.
    pub reason: String,
    /// The entry of the map, if there is one.
    pub take: Option<Take>,
}

/// A proposed map, and how it reads.
#[derive(Debug, Clone)]
pub struct Proposal {
    /// The map.
    pub map: ColumnMap,
    /// Each column of the file in its order, then what the file lacks.
    pub columns: Vec<Proposed>,
    /// What a person should know before keeping it.
    pub warnings: Vec<String>,
    /// Our columns that no row can do without and that nothing fills: the map is not whole before they are.
    pub lacks: Vec<&'static str>,
    /// The first ten rows as the map reads them, with their lines.
    pub rows: Vec<(u64, Vec<Cell>)>,
    /// Rows of the sample, and how many of them could not be read.
    pub sampled: (u64, u64),
}

impl Proposal {
    /// The map as a file, each entry with its reason.
    pub fn to_toml(&self) -> String {
        self.map.to_toml(&self.reasons())
    }

    /// The reason for each column of ours, by its place in the table.
    pub fn reasons(&self) -> BTreeMap<usize, String> {
        let mut reasons = BTreeMap::new();
        for proposed in &self.columns {
            for target in proposed.take.iter().flat_map(|take| &take.to) {
                reasons.insert(*target, format!("{}: {}", proposed.mark.word(), proposed.reason));
            }
        }
        reasons
    }
}

/// What one entry of a map may become.
#[derive(Debug, Clone)]
pub(crate) struct Draft {
    /// The column of the file it is said of.
    pub column: usize,
    /// All columns it reads.
    pub from: Vec<usize>,
    pub to: Vec<usize>,
    pub sure: bool,
    pub reason: String,
    pub unit: Option<Measure>,
    pub split: Option<String>,
    pub words: BTreeMap<String, String>,
    pub unknown_words: Vec<String>,
    pub after: Option<usize>,
    pub before: Option<usize>,
    pub next_day_of: Option<usize>,
    pub clock: Option<String>,
}

impl Draft {
    pub fn of(column: usize, to: usize, sure: bool, reason: &str) -> Draft {
        Draft {
            column,
            from: vec![column],
            to: vec![to],
            sure,
            reason: reason.to_owned(),
            unit: None,
            split: None,
            words: BTreeMap::new(),
            unknown_words: Vec::new(),
            after: None,
            before: None,
            next_day_of: None,
            clock: None,
        }
    }

    fn take(&self, header: &[String]) -> Take {
        Take {
            from: self.from.iter().map(|&at| header[at].clone()).collect(),
            to: self.to.clone(),
            value: None,
            unit: self.unit,
            words: self.words.clone(),
            split: self.split.clone(),
            order: None,
            after: self.after,
            before: self.before,
            next_day_of: self.next_day_of,
            clock: self.clock.clone(),
        }
    }
}

/// Proposes a map for whatever a source holds. `name` is what the map is called; `wanted` the table where somebody has said
/// which it is: then a file of which no word is known is no error, and its map is still empty.
///
/// # Errors
/// When the file cannot be read, holds no table, or no column of it has a meaning.
pub(crate) fn propose<S: Read + Seek>(
    source: S,
    name: &str,
    wanted: Option<&'static Table>,
    reading: &Reading,
) -> Result<Proposal, Unreadable> {
    let sample = sample::take(source, reading)?;
    let Some(grid) = dialect::of(&sample) else { return Err(Unreadable::NoColumns) };
    let seen: Vec<seen::Seen> = (0..grid.header.len()).map(|at| seen::column(&grid, at)).collect();
    let heads = choose::heads(&grid, &seen);
    let chosen = wanted.map_or_else(|| choose::table(&heads, &seen), |table| Some((table, None)));
    let Some((table, other)) = chosen else {
        return Err(Unreadable::NoMeaning { header: grid.header });
    };
    let (order, order_doubt) = seen::order_of(&seen);
    let mut drafts = times::drafts(table, &heads, &seen);
    let (others, mut said) = assign::drafts(table, &grid, &heads, &seen, &drafts);
    for (at, head) in heads.iter().enumerate() {
        if let Some(words) = times::not_used(head, table, &drafts)
            && !drafts.iter().chain(&others).any(|draft| draft.from.contains(&at))
        {
            said.insert(at, words);
        }
    }
    drafts.extend(others);
    let mut warnings: Vec<String> = Vec::new();
    check::doubts(table, &grid, &seen, (order_doubt, other), &mut drafts, &mut warnings);
    check::one_unit(table, &mut drafts, &mut warnings);
    check::quarters_and_whole(table, &grid, &mut drafts, &mut warnings);
    let map = ColumnMap {
        name: name.to_owned(),
        table,
        separator: grid.separator,
        decimal: grid.decimal,
        thousands: grid.thousands,
        encoding: sample.encoding,
        order,
        zone: None,
        header: grid.has_header,
        columns: grid.header.clone(),
        takes: drafts.iter().map(|draft| draft.take(&grid.header)).collect(),
    };
    let mut proposal =
        Proposal { map, columns: Vec::new(), warnings, lacks: Vec::new(), rows: Vec::new(), sampled: (0, 0) };
    let constants = check::constants(&grid, &mut proposal);
    check::try_out(&sample, reading, &mut proposal, &mut drafts);
    show(table, &grid, &seen, &drafts, &said, &mut proposal);
    proposal.columns.extend(constants);
    if !proposal.lacks.is_empty() {
        proposal.warnings.push(format!(
            "nothing fills {}, and no row of `{}` can do without: add an entry to the map",
            listed(&proposal.lacks, "and"),
            table.name
        ));
    }
    Ok(proposal)
}

/// Each column of the file with what is proposed for it.
fn show(
    table: &'static Table,
    grid: &dialect::Grid,
    seen: &[seen::Seen],
    drafts: &[Draft],
    said: &assign::Said,
    proposal: &mut Proposal,
) {
    for (at, header) in grid.header.iter().enumerate() {
        let own: Vec<&Draft> = drafts.iter().filter(|draft| draft.from.contains(&at)).collect();
        let (mark, reason) = match (own.as_slice(), said.get(&at)) {
            ([], Some((mark, reason))) => (*mark, reason.clone()),
            ([], None) => (Mark::NotUsed, "no meaning was found for it".to_owned()),
            (all, _) => {
                let sure = all.iter().all(|draft| draft.sure);
                let mut reasons: Vec<&str> = all.iter().map(|draft| draft.reason.as_str()).collect();
                reasons.dedup();
                (if sure { Mark::Sure } else { Mark::Unsure }, reasons.join("; "))
            }
        };
        proposal.columns.push(Proposed {
            column: Some(header.clone()),
            examples: seen[at].examples.clone(),
            to: own.iter().flat_map(|draft| &draft.to).map(|&to| table.columns[to].name).collect(),
            mark,
            reason,
            take: own.first().map(|draft| draft.take(&grid.header)),
        });
    }
}

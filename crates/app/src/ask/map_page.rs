//! The page that says how a file is to be read: the map proposed, changed by choices or in its text, and kept.
//!
//! Choices come as words from a form; each that is absent or `keep` stays as the map's text has it. Nothing is kept before
//! [`keep`], and a choice that cannot be comes back with what was typed and why.

use std::{collections::BTreeMap, path::Path};

use cowpath_core::tables::{TABLES, Table};
use cowpath_import::{Chosen, ColumnMap, DayOrder, MapFault, Proposal, Reading, Unreadable};
use jiff::{Timestamp, tz::TimeZone};

use super::{
    mapping::{self, Input, Shown},
    maps, parked,
};
use crate::trouble::user;

/// The word of a choice that changes nothing.
pub const KEEP: &str = "keep";
/// Orders of days that can be chosen, with an example.
pub const ORDERS: [(DayOrder, &str); 6] = [
    (DayOrder::YearMonthDay, "year, month, day: 2026-03-02"),
    (DayOrder::DayMonthYear, "day, month, year: 2.3.2026"),
    (DayOrder::MonthDayYear, "month, day, year: 3/2/2026"),
    (DayOrder::Serial, "days as a spreadsheet counts them: 46083.2"),
    (DayOrder::UnixSeconds, "seconds since 1970"),
    (DayOrder::UnixMilliseconds, "milliseconds since 1970"),
];

/// What a person chose and typed.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Choices {
    /// The map as text.
    pub map: String,
    /// The name it is to be kept under.
    pub name: String,
    /// Name of a table, of an order of days, and a decimal sign; `keep` or empty: as the map says.
    pub table: String,
    /// See `table`.
    pub order: String,
    /// See `table`.
    pub decimal: String,
    /// By header word: the name of a column of ours, empty for not used, or `keep`.
    pub columns: BTreeMap<String, String>,
    /// By the name of a column of ours: what stands in every row.
    pub values: BTreeMap<String, String>,
}

/// One column of the file, to be chosen for.
#[derive(Debug, Clone, PartialEq)]
pub struct Field {
    /// What is shown of it.
    pub column: mapping::Column,
    /// What was typed and could not be taken; else `keep`.
    pub choice: String,
}

/// A value of every row.
#[derive(Debug, Clone, PartialEq)]
pub struct Fixed {
    /// Our column.
    pub name: &'static str,
    /// What it means.
    pub means: &'static str,
    /// What stands in every row; empty: nothing yet.
    pub value: String,
    /// What the map has; where it differs, `value` was typed and could not be taken.
    pub was: String,
    /// Why it is needed or supposed.
    pub reason: String,
}

/// The page.
#[derive(Debug, Clone, PartialEq)]
pub struct MapPage {
    /// Key of the file.
    pub key: String,
    /// File and map.
    pub shown: Shown,
    /// Its table.
    pub table: &'static str,
    /// Columns of the file: those to look at first, then sure ones, then those not used.
    pub fields: Vec<Field>,
    /// What stands in every row.
    pub fixed: Vec<Fixed>,
    /// Our columns that can be chosen: name, meaning.
    pub targets: Vec<(&'static str, &'static str)>,
    /// Order of days and decimal sign as the map has them.
    pub order: &'static str,
    /// See `order`.
    pub decimal: &'static str,
    /// Whether the map is another than was proposed, so that warnings may no longer hold.
    pub changed: bool,
    /// Why a choice could not be taken, and what to do.
    pub fault: Option<(String, String)>,
    /// What was typed.
    pub typed: Choices,
}

impl MapPage {
    /// Whether the file can be read with the map.
    pub fn is_ready(&self) -> bool {
        self.fault.is_none() && self.shown.lacks.is_empty()
    }
}

/// The map that the choices make, or why they make none.
fn chosen_map(base: &ColumnMap, typed: &Choices) -> Result<ColumnMap, MapFault> {
    let place = |name: &str| {
        base.table.index(name).ok_or_else(|| MapFault {
            line: None,
            what: format!("`{}` is not a column of `{}`", crate::trouble::short(name), base.table.name),
            next: "show the page anew for the table chosen, then choose from its columns".into(),
        })
    };
    let mut chosen = Chosen {
        decimal: match typed.decimal.as_str() {
            "," => Some(b','),
            "." => Some(b'.'),
            _ => None,
        },
        order: ORDERS.iter().map(|(order, _)| *order).find(|order| order.name() == typed.order),
        ..Chosen::default()
    };
    for (word, to) in typed.columns.iter().filter(|(_, to)| *to != KEEP) {
        chosen.columns.push((word.clone(), if to.is_empty() { None } else { Some(place(to)?) }));
    }
    for (name, value) in &typed.values {
        chosen.values.insert(place(name)?, value.clone());
    }
    base.changed(&chosen)
}

/// What a file was proposed as.
fn proposed(
    file: &Path,
    name: &str,
    table: Option<&'static Table>,
    reading: &Reading,
) -> Result<Proposal, Unreadable> {
    match table {
        Some(table) => cowpath_import::propose_file_as(file, name, table, reading),
        None => match cowpath_import::propose_file(file, name, reading) {
            // A file without one known word is what the page is for most: visits are what most farms bring.
            Err(Unreadable::NoMeaning { .. }) => match TABLES.first() {
                Some(table) => cowpath_import::propose_file_as(file, name, table, reading),
                None => Err(Unreadable::NoColumns),
            },
            other => other,
        },
    }
}

/// The page of a file that waits, with what was chosen; without choices as proposed.
///
/// # Errors
/// When the file no longer waits, or cannot be read as a table at all.
pub fn page(
    farm: &Path,
    key: &str,
    typed: Option<&Choices>,
    zone: &TimeZone,
    now: Timestamp,
) -> anyhow::Result<MapPage> {
    build(farm, key, typed, zone, now).map(|(page, _)| page)
}

/// Keeps the map that the choices make in the farm's folder and gives it back; where they make none, the page that says
/// why.
///
/// # Errors
/// As [`page`].
pub fn keep(
    farm: &Path,
    key: &str,
    typed: &Choices,
    zone: &TimeZone,
    now: Timestamp,
) -> anyhow::Result<Result<ColumnMap, Box<MapPage>>> {
    let (mut page, map) = build(farm, key, Some(typed), zone, now)?;
    let Some(map) = map.filter(|_| page.is_ready()) else {
        if page.fault.is_none() {
            page.fault = Some((
                format!("nothing fills {} yet, and no row can do without", page.shown.lacks.join(", ")),
                "choose columns for them, or write what stands in every row; then keep the map".into(),
            ));
        }
        return Ok(Err(Box::new(page)));
    };
    let name = typed.name.trim();
    let text = ColumnMap { name: name.to_owned(), ..map.clone() }.to_toml(&BTreeMap::new());
    if name.is_empty() {
        page.fault = Some((
            "the map has no name".into(),
            "give it one, like the program that writes such files".into(),
        ));
        return Ok(Err(Box::new(page)));
    }
    match maps::keep(farm, name, &text) {
        Ok(_) => Ok(Ok(ColumnMap { name: name.to_owned(), ..map })),
        Err(error) => {
            let why = crate::trouble::in_words(&error);
            page.fault = Some((why.what, why.next));
            Ok(Err(Box::new(page)))
        }
    }
}

fn build(
    farm: &Path,
    key: &str,
    typed: Option<&Choices>,
    zone: &TimeZone,
    now: Timestamp,
) -> anyhow::Result<(MapPage, Option<ColumnMap>)> {
    let Some(waiting) = parked::find(farm, key) else {
        return Err(user(
            "this file no longer waits to be told how it is read",
            "maps and rows that were kept are as they were",
            "if it was read since, it stands on Records; else bring it again",
        ));
    };
    let reading = Reading::new(zone.clone(), now);
    let unread =
        |why: &Unreadable| user(format!("{}: {why}", waiting.name), "the file still waits", why.remedy());
    let stem = waiting.name.split('.').next().filter(|stem| !stem.is_empty()).unwrap_or("map").to_owned();
    let wanted = typed.and_then(|typed| cowpath_core::tables::table(&typed.table));
    // The text of a map is of one table; where another is chosen, it is proposed anew.
    let base = match typed {
        None => None,
        Some(typed) => match ColumnMap::unfinished_from_toml(&typed.map) {
            Ok(base) if wanted.is_none_or(|wanted| wanted.name == base.table.name) => Some(Ok(base)),
            Ok(_) => None,
            Err(fault) => Some(Err(fault)),
        },
    };
    let table = match &base {
        Some(Ok(base)) => Some(base.table),
        _ => wanted,
    };
    let proposal = proposed(&waiting.path, &stem, table, &reading).map_err(|why| unread(&why))?;
    let same_table = base.is_some() || typed.is_none();
    let (base, mut fault) = match base {
        Some(Ok(base)) => (base, None),
        Some(Err(fault)) => (proposal.map.clone(), Some(fault)),
        None => (proposal.map.clone(), None),
    };
    let mut choices = typed.cloned().unwrap_or_default();
    if !same_table {
        choices.columns.clear();
        choices.values.clear();
    }
    let mut map = base.clone();
    if fault.is_none() {
        match chosen_map(&base, &choices) {
            Ok(changed) => map = changed,
            Err(own) => fault = Some(own),
        }
    }
    let input = Input::Path(&waiting.path);
    let mut shown = mapping::changed(waiting.name.clone(), &proposal, &map, zone);
    if fault.is_none() && shown.lacks.is_empty() {
        match map.check().map_err(|fault| (fault.what, fault.next)).and_then(|()| {
            mapping::filled(input, &map, zone, now, &mut shown).map_err(|error| {
                let why = crate::trouble::in_words(&error);
                (why.what, why.next)
            })
        }) {
            Ok(()) => {}
            Err((what, next)) => fault = Some(MapFault { line: None, what, next }),
        }
    }
    let failed = fault.is_some();
    if choices.name.is_empty() {
        choices.name = stem;
    }
    if !failed {
        choices = Choices { map: shown.map.clone(), name: choices.name, ..Choices::default() };
    }
    let fixed = fixed(&map, &proposal, if failed { Some(&choices) } else { None });
    let page = MapPage {
        key: key.to_owned(),
        table: map.table.name,
        fields: fields(&shown, failed.then_some(&choices)),
        fixed,
        targets: map.table.columns.iter().map(|column| (column.name, column.means)).collect(),
        order: map.order.name(),
        decimal: if map.decimal == b',' { "," } else { "." },
        changed: map.essence() != proposal.map.essence(),
        fault: fault.map(|fault| (fault.to_string(), fault.next)),
        typed: choices,
        shown,
    };
    Ok((page, (!failed).then_some(map)))
}

/// Columns of the file: what is to be looked at first stands first.
fn fields(shown: &Shown, typed: Option<&Choices>) -> Vec<Field> {
    let mut fields: Vec<Field> = shown
        .columns
        .iter()
        .filter_map(|column| {
            let word = column.column.as_ref()?;
            let choice = typed.and_then(|typed| typed.columns.get(word)).cloned();
            Some(Field { column: column.clone(), choice: choice.unwrap_or_else(|| KEEP.to_owned()) })
        })
        .collect();
    fields.sort_by_key(|field| match field.column.mark.as_str() {
        "unsure" => 0,
        "not used" => 2,
        _ => 1,
    });
    fields
}

/// What stands in every row, and what could.
fn fixed(map: &ColumnMap, proposal: &Proposal, typed: Option<&Choices>) -> Vec<Fixed> {
    let table = map.table;
    let columns = table.columns.iter().enumerate();
    columns
        .filter_map(|(target, column)| {
            let own = map.takes.iter().find(|take| take.to.contains(&target));
            let value = match own {
                Some(take) => take.value.clone()?,
                None if column.required => String::new(),
                None => return None,
            };
            let said = proposal.columns.iter().find(|one| one.column.is_none() && one.to == [column.name]);
            let reason = match (said, value.is_empty()) {
                (_, true) => "nothing fills it, and no row can do without".to_owned(),
                (Some(said), _) if said.examples.contains(&value) => said.reason.clone(),
                _ => "as you wrote it".to_owned(),
            };
            let typed = typed.and_then(|typed| typed.values.get(column.name)).cloned();
            let was = value.clone();
            Some(Fixed { name: column.name, means: column.means, value: typed.unwrap_or(value), was, reason })
        })
        .collect()
}

//! A column map from its text: TOML, and for each fault the line and what to do.

use std::collections::BTreeMap;
use std::fmt;

use cowpath_core::tables::{self, TABLES, Table};
use serde::Deserialize;
use toml::Spanned;

use super::check::{self, Part};
use super::measure::{Measure, NAMES, own_name};
use super::moment::{DayOrder, ORDERS};
use super::{ColumnMap, Take, VERSION};
use crate::stream::Encoding;
use crate::trouble::listed;

/// What is wrong with the text of a map.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MapFault {
    /// Line of the map's text, from 1; none where the whole is meant.
    pub line: Option<usize>,
    /// What is wrong.
    pub what: String,
    /// What to do.
    pub next: String,
}

impl fmt::Display for MapFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(line) = self.line {
            write!(f, "line {line} of the map: ")?;
        }
        f.write_str(&self.what)
    }
}

impl std::error::Error for MapFault {}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    #[serde(rename = "version")]
    _version: i64,
    #[serde(default)]
    name: String,
    table: Spanned<String>,
    separator: Option<Spanned<String>>,
    decimal: Option<Spanned<String>>,
    thousands: Option<Spanned<String>>,
    encoding: Option<Spanned<String>>,
    order: Option<Spanned<String>>,
    zone: Option<Spanned<String>>,
    header: Option<bool>,
    #[serde(default)]
    columns: Vec<String>,
    #[serde(default)]
    column: Vec<Spanned<Entry>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    from: Option<Spanned<OneOrMany>>,
    to: Spanned<OneOrMany>,
    value: Option<String>,
    unit: Option<Spanned<String>>,
    #[serde(default)]
    words: BTreeMap<String, String>,
    split: Option<Spanned<String>>,
    order: Option<Spanned<String>>,
    after: Option<Spanned<String>>,
    before: Option<Spanned<String>>,
    next_day_of: Option<Spanned<String>>,
    clock: Option<Spanned<String>>,
}

#[derive(Deserialize)]
#[serde(untagged)]
enum OneOrMany {
    One(String),
    Many(Vec<String>),
}

impl OneOrMany {
    fn list(&self) -> Vec<String> {
        match self {
            OneOrMany::One(word) => vec![word.clone()],
            OneOrMany::Many(words) => words.clone(),
        }
    }
}

/// A text and where its lines begin.
struct Lines<'a>(&'a str);

impl Lines<'_> {
    fn of(&self, at: usize) -> Option<usize> {
        Some(self.0.as_bytes().iter().take(at).filter(|&&byte| byte == b'\n').count() + 1)
    }

    fn fault<T>(&self, at: &Spanned<T>, what: impl Into<String>, next: impl Into<String>) -> MapFault {
        MapFault { line: self.of(at.span().start), what: what.into(), next: next.into() }
    }
}

impl ColumnMap {
    /// Reads the text of a map.
    ///
    /// # Errors
    /// The first thing that is wrong, with its line.
    pub fn from_toml(text: &str) -> Result<ColumnMap, MapFault> {
        read(text, check::check)
    }

    /// The same of a map that is still being made: columns that no row can do without may be missing
    /// ([`ColumnMap::lacks`]), and no file can be read with it before they are there.
    ///
    /// # Errors
    /// As [`ColumnMap::from_toml`].
    pub fn unfinished_from_toml(text: &str) -> Result<ColumnMap, MapFault> {
        read(text, check::entries)
    }

    /// Whether a file can be read with it.
    ///
    /// # Errors
    /// The first thing that is wrong; it has no line.
    pub fn check(&self) -> Result<(), MapFault> {
        check::check(self).map_err(|(_, _, what, next)| MapFault { line: None, what, next })
    }

    /// Our columns that no row can do without and that nothing fills.
    pub fn lacks(&self) -> Vec<&'static str> {
        let is_filled = |target: usize| self.takes.iter().any(|take| take.to.contains(&target));
        let columns = self.table.columns.iter().enumerate();
        columns
            .filter(|(target, column)| column.required && !is_filled(*target))
            .map(|(_, column)| column.name)
            .collect()
    }
}

fn read(text: &str, check: fn(&ColumnMap) -> Result<(), check::Fault>) -> Result<ColumnMap, MapFault> {
    let lines = Lines(text);
    let spoken = |error: &toml::de::Error| MapFault {
        line: error.span().and_then(|span| lines.of(span.start)),
        what: error.message().trim().replace('\n', "; "),
        next: "mend this line; `docs/maps.md` lists what a map may hold".into(),
    };
    let whole: toml::Table = text.parse().map_err(|error| spoken(&error))?;
    match whole.get("version").and_then(toml::Value::as_integer) {
        Some(version) if (1..=VERSION).contains(&version) => {}
        Some(version) => {
            return Err(MapFault {
                line: None,
                what: format!("the map is of version {version}; this program reads versions up to {VERSION}"),
                next: "use a newer Cowpath, or propose the map anew: `cowpath map FILE --save MAP.toml`"
                    .into(),
            });
        }
        None => {
            return Err(MapFault {
                line: None,
                what: "the text does not begin with the version of a map".into(),
                next: "if it is a column map, write `version = 1` as its first line".into(),
            });
        }
    }
    let file: File = toml::from_str(text).map_err(|error| spoken(&error))?;
    build(file, &lines, check)
}

fn build(
    file: File,
    lines: &Lines,
    check: fn(&ColumnMap) -> Result<(), check::Fault>,
) -> Result<ColumnMap, MapFault> {
    let Some(table) = tables::table(file.table.get_ref()) else {
        let names: Vec<&str> = TABLES.into_iter().map(|table| table.name).collect();
        return Err(lines.fault(
            &file.table,
            format!("`{}` is not a table", file.table.get_ref()),
            format!("write {}", listed(&names, "or")),
        ));
    };
    let separators = [
        (",", b','),
        (";", b';'),
        ("tab", b'\t'),
        ("\t", b'\t'),
        ("|", b'|'),
        ("semicolon", b';'),
        ("comma", b','),
    ];
    let decimals = [(".", b'.'), (",", b',')];
    let thousands = [(".", b'.'), (",", b','), ("'", b'\''), (" ", b' ')];
    let encodings = [("unicode", Encoding::Unicode), ("windows-1252", Encoding::Windows1252)];
    let separator = one_of(lines, file.separator.as_ref(), &separators, b',')?;
    let decimal = one_of(lines, file.decimal.as_ref(), &decimals, b'.')?;
    let grouping = match &file.thousands {
        None => None,
        given => Some(one_of(lines, given.as_ref(), &thousands, b' ')?),
    };
    if let Some(given) = file.thousands.as_ref().filter(|_| grouping == Some(decimal)) {
        let what = "the sign of thousands is also the decimal sign";
        return Err(lines.fault(given, what, "leave `thousands` out, or write another sign"));
    }
    let encoding = one_of(lines, file.encoding.as_ref(), &encodings, Encoding::Unicode)?;
    let order = order_of(lines, file.order.as_ref())?.unwrap_or_default();
    if let Some(zone) = &file.zone
        && jiff::tz::TimeZone::get(zone.get_ref()).is_err()
    {
        let what = format!("`{}` is not the name of a time zone", zone.get_ref());
        let next = "use a name of the zone database, like America/Chicago, Europe/Copenhagen or UTC";
        return Err(lines.fault(zone, what, next));
    }
    let mut takes = Vec::with_capacity(file.column.len());
    for entry in &file.column {
        takes.push(take(lines, table, entry.get_ref())?);
    }
    let map = ColumnMap {
        name: file.name,
        table,
        separator,
        decimal,
        thousands: grouping,
        encoding,
        order,
        zone: file.zone.map(Spanned::into_inner),
        header: file.header.unwrap_or(true),
        columns: file.columns,
        takes,
    };
    check(&map).map_err(|(at, part, what, next)| {
        let line = at.and_then(|at| file.column.get(at)).and_then(|entry| {
            let own = entry.get_ref();
            let part = match part {
                Part::From => own.from.as_ref().map(|from| from.span().start),
                Part::To => Some(own.to.span().start),
                Part::Whole => None,
            };
            lines.of(part.unwrap_or(entry.span().start))
        });
        MapFault { line, what, next }
    })?;
    Ok(map)
}

fn one_of<T: Copy>(
    lines: &Lines,
    given: Option<&Spanned<String>>,
    known: &[(&str, T)],
    usual: T,
) -> Result<T, MapFault> {
    let Some(given) = given else { return Ok(usual) };
    match known.iter().find(|(name, _)| name.eq_ignore_ascii_case(given.get_ref())) {
        Some((_, value)) => Ok(*value),
        None => {
            let names: Vec<&str> = known.iter().map(|(name, _)| *name).filter(|name| *name != "\t").collect();
            Err(lines.fault(
                given,
                format!("\"{}\" is none of the values of this line", given.get_ref()),
                format!("write {}", listed(&names, "or")),
            ))
        }
    }
}

fn order_of(lines: &Lines, given: Option<&Spanned<String>>) -> Result<Option<DayOrder>, MapFault> {
    let known = ORDERS.map(|(order, name)| (name, order));
    given.map(|_| one_of(lines, given, &known, DayOrder::default())).transpose()
}

fn take(lines: &Lines, table: &'static Table, entry: &Entry) -> Result<Take, MapFault> {
    let place = |given: &Spanned<String>| column(lines, table, given, given.get_ref());
    let words = entry.to.get_ref().list();
    let to = words
        .iter()
        .map(|word| column(lines, table, &entry.to, word))
        .collect::<Result<Vec<usize>, MapFault>>()?;
    let span_of = entry.after.is_some() || entry.before.is_some();
    let unit = match &entry.unit {
        None => None,
        Some(given) => {
            let name = given.get_ref();
            let of = |at: &usize| Measure::named(name, table, &table.columns[*at]);
            let of_span = || {
                let known = NAMES.iter().find(|(_, own)| own.eq_ignore_ascii_case(name));
                known.map(|(measure, _)| *measure).filter(|measure| measure.span_ms().is_some())
            };
            let measures: Option<Vec<Measure>> =
                to.iter().map(|at| if span_of { of_span() } else { of(at) }).collect();
            let Some(first) = measures.and_then(|measures| measures.first().copied()) else {
                let column = to.first().map(|at| &table.columns[*at]);
                let known: Vec<&str> = NAMES
                    .iter()
                    .filter(|(measure, _)| {
                        if span_of {
                            measure.span_ms().is_some()
                        } else {
                            column.is_some_and(|column| measure.of(table, column).is_some())
                        }
                    })
                    .map(|(_, name)| *name)
                    .collect();
                let own = column.and_then(|column| match column.kind {
                    tables::Kind::Number { unit, .. } if !span_of => Some(own_name(unit)),
                    _ => None,
                });
                let all: Vec<&str> = own.into_iter().chain(known).collect();
                let next = if all.is_empty() {
                    "leave `unit` out".to_owned()
                } else {
                    format!("write {}", listed(&all, "or"))
                };
                return Err(lines.fault(
                    given,
                    format!("figures of this column cannot come in `{name}`"),
                    next,
                ));
            };
            Some(first).filter(|measure| *measure != Measure::Own)
        }
    };
    Ok(Take {
        from: entry.from.as_ref().map(|from| from.get_ref().list()).unwrap_or_default(),
        to,
        value: entry.value.clone(),
        unit,
        words: entry.words.clone(),
        split: entry.split.as_ref().map(|split| split.get_ref().clone()),
        order: order_of(lines, entry.order.as_ref())?,
        after: entry.after.as_ref().map(place).transpose()?,
        before: entry.before.as_ref().map(place).transpose()?,
        next_day_of: entry.next_day_of.as_ref().map(place).transpose()?,
        clock: entry.clock.as_ref().map(|clock| clock.get_ref().clone()),
    })
}

fn column<T>(lines: &Lines, table: &Table, at: &Spanned<T>, word: &str) -> Result<usize, MapFault> {
    table.index(word).ok_or_else(|| {
        let like = crate::alike::alike(table, word);
        let like: Vec<&str> = like.iter().map(String::as_str).collect();
        let next = if like.is_empty() {
            format!("write one of the columns of `{}` that `docs/tables.md` lists", table.name)
        } else {
            format!("write {}", listed(&like, "or"))
        };
        lines.fault(at, format!("`{word}` is not a column of `{}`", table.name), next)
    })
}

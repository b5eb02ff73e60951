//! One record of another form into the cells of ours, as text: from there on it goes the way of a plain table.

use cowpath_core::tables::{Conversion, Kind};

use super::measure::Measure;
use super::moment::{self, DayOrder};
use super::signs::{figure, plain_figure};
use super::{ColumnMap, plain_word};
use crate::issue::Wrong;
use crate::records::Cells;
use crate::row::{Refused, is_blank, is_padded, miscounted, trimmed};
use crate::sniff::{Plan, Span, Used};
use crate::time::{days_in, days_since_1970};

const DAY_MS: i64 = 86_400_000;

/// A time of day of the next day is at least so much earlier than the time it follows, ms.
const NEXT_DAY_FROM_MS: i64 = DAY_MS / 2;

/// How the records of one file become ours.
pub(crate) struct Translator {
    /// Header words of the file.
    pub header: Vec<String>,
    /// Of each of our cells, the column of the file to look at.
    pub sources: Vec<Option<usize>>,
    /// Columns of the file that the map was not made for.
    pub strangers: Vec<usize>,
    separator: &'static str,
    decimal: u8,
    thousands: Option<u8>,
    steps: Vec<Step>,
    /// The cells made last.
    pub own: Cells,
    /// Wall time of each step's last cell, ms, where it has one.
    walls: Vec<Option<i64>>,
    scratch: String,
}

struct Step {
    source: Option<usize>,
    second: Option<usize>,
    value: Vec<u8>,
    part: Option<(String, usize, usize)>,
    /// Their words, as words are compared, and ours.
    words: Vec<(String, String)>,
    what: What,
}

enum What {
    AsIs,
    Digits,
    Figure(Option<Measure>),
    Moment { order: DayOrder, clock_ms: Option<u32>, next_day_of: Option<usize> },
    Day(DayOrder),
}

/// A plan for our side and the translator for theirs. Every word of the map is in `header`.
pub(crate) fn begin(map: &ColumnMap, header: Vec<String>) -> (Plan, Translator) {
    let table = map.table;
    let place = |word: &String| {
        let word = plain_word(word);
        header.iter().position(|own| plain_word(own) == word)
    };
    // Cells that another one is counted from come first.
    let mut takes: Vec<_> = map.takes.iter().collect();
    takes.sort_by_key(|take| take.next_day_of.is_some());
    let mut used = Vec::new();
    let mut steps: Vec<Step> = Vec::new();
    for take in takes {
        for (part, &target) in take.to.iter().enumerate() {
            let column = &table.columns[target];
            let order = take.order.unwrap_or(map.order);
            let base = take.after.or(take.before);
            let unit = take.unit.unwrap_or(Measure::Own);
            let span = base.and_then(|base| {
                let unit_ms = unit.span_ms()?;
                Some(Span { base, unit_ms: if take.after.is_some() { unit_ms } else { -unit_ms } })
            });
            let what = match column.kind {
                _ if take.value.is_some() => What::AsIs,
                _ if span.is_some() => What::Figure(take.unit),
                Kind::Number { .. } => What::Figure(take.unit),
                Kind::Time => What::Moment {
                    order,
                    clock_ms: take.clock.as_ref().and_then(|clock| moment::wall(clock, order)?.within_ms),
                    next_day_of: take
                        .next_day_of
                        .and_then(|base| used.iter().position(|used: &Used| used.target == base)),
                },
                Kind::Date => What::Day(order),
                Kind::OfficialId => What::Digits,
                Kind::Text | Kind::Flag | Kind::Words(_) => What::AsIs,
            };
            let conversion = if span.is_some() {
                Conversion::Same
            } else {
                unit.of(table, column).unwrap_or(Conversion::Same)
            };
            used.push(Used {
                source: used.len(),
                target,
                conversion,
                kind: column.kind,
                required: column.required,
                span,
            });
            steps.push(Step {
                source: take.from.first().and_then(place),
                second: take.from.get(1).and_then(place),
                value: take.value.clone().unwrap_or_default().into_bytes(),
                part: take.split.clone().map(|split| (split, part, take.to.len())),
                words: take.words.iter().map(|(own, ours)| (plain_word(own), ours.clone())).collect(),
                what,
            });
        }
    }
    let known: Vec<String> = map.columns.iter().map(|word| plain_word(word)).collect();
    let strangers = (0..header.len())
        .filter(|&at| {
            let word = plain_word(&header[at]);
            !known.contains(&word) && steps.iter().all(|step| ![step.source, step.second].contains(&Some(at)))
        })
        .collect();
    let absent = (0..table.columns.len())
        .filter(|&target| used.iter().all(|used: &Used| used.target != target))
        .collect();
    let order = table.columns.iter().position(|column| column.required && column.kind == Kind::Time);
    let plan = Plan {
        table,
        header: used.iter().map(|used| table.columns[used.target].name.to_owned()).collect(),
        has_spans: used.iter().any(|used| used.span.is_some()),
        used,
        unused: Vec::new(),
        absent,
        order,
        is_mapped: true,
    };
    let separator = match map.separator {
        b';' => "a semicolon",
        b'\t' => "a tab",
        b'|' => "an upright stroke",
        _ => "a comma",
    };
    let translator = Translator {
        sources: steps.iter().map(|step| step.source).collect(),
        header,
        strangers,
        separator,
        decimal: map.decimal,
        thousands: map.thousands,
        walls: vec![None; steps.len()],
        steps,
        own: Cells::default(),
        scratch: String::new(),
    };
    (plan, translator)
}

impl Translator {
    /// Translates a record into [`Translator::own`]; `Ok(false)`: it is a blank line.
    ///
    /// # Errors
    /// When cells cannot be told apart; the refusal then names the file's own column.
    pub fn translate(&mut self, (cells, record, cut): (&Cells, &[u8], bool)) -> Result<bool, Refused> {
        let wanted = self.header.len();
        if cells.count() != wanted && !is_padded(wanted, cells, record) {
            if is_blank(cells, record) {
                return Ok(false);
            }
            return Err(miscounted(cells.count(), wanted, cut, self.separator, false));
        }
        let Translator { own, steps, walls, scratch, decimal, thousands, .. } = self;
        own.begin();
        for (at, step) in steps.iter().enumerate() {
            let mut text =
                step.source.map_or(step.value.as_slice(), |source| trimmed(cells.of(record, source)));
            if let Some((split, part, count)) = &step.part
                && !text.is_empty()
            {
                text = match of_parts(text, split, *part, *count) {
                    Ok(text) => text,
                    Err(has) => {
                        return Err(Refused {
                            source: step.source,
                            wrong: Wrong::new(
                                format!("holds {has} values between \"{split}\", not {count}"),
                                "mend it in the file, or look at `split` and `to` in the map; then read the file again",
                            ),
                        });
                    }
                };
            }
            let second = step.second.map(|second| trimmed(cells.of(record, second)));
            let ours = step.ours(text);
            let text = ours.map_or(text, str::as_bytes);
            walls[at] = None;
            if !text.is_empty() || second.is_some_and(|second| !second.is_empty()) {
                let base = match step.what {
                    What::Moment { next_day_of: Some(base), .. } => walls.get(base).copied().flatten(),
                    _ => None,
                };
                walls[at] = write(step, (text, second), (*decimal, *thousands), base, scratch, own.text());
            }
            own.close();
        }
        Ok(true)
    }
}

impl Step {
    /// Our word for theirs.
    fn ours(&self, text: &[u8]) -> Option<&str> {
        if self.words.is_empty() {
            return None;
        }
        let word = plain_word(std::str::from_utf8(text).ok()?);
        self.words.iter().find(|(own, _)| *own == word).map(|(_, ours)| ours.as_str())
    }
}

/// One of the values that share a cell.
///
/// # Errors
/// How many there are, if not as many as wanted.
fn of_parts<'a>(text: &'a [u8], split: &str, part: usize, count: usize) -> Result<&'a [u8], usize> {
    let Ok(whole) = std::str::from_utf8(text) else { return Err(1) };
    let has = whole.split(split).count();
    if has != count {
        return Err(has);
    }
    Ok(whole.split(split).nth(part).map_or(&[], |part| part.trim().as_bytes()))
}

/// Writes one cell in our form. What cannot be read is written as it is, to be refused with its own text. Gives back the
/// wall time of a time, ms.
fn write(
    step: &Step,
    (text, second): (&[u8], Option<&[u8]>),
    (decimal, thousands): (u8, Option<u8>),
    base: Option<i64>,
    scratch: &mut String,
    out: &mut Vec<u8>,
) -> Option<i64> {
    match step.what {
        What::AsIs => out.extend_from_slice(text),
        What::Digits => {
            out.extend(text.iter().filter(|byte| !matches!(byte, b' ' | b'\'' | b'.' | b'-')));
        }
        What::Figure(measure) => {
            let clock = measure.filter(|measure| measure.is_clock());
            match clock.and_then(|clock| clock.clock_seconds(std::str::from_utf8(text).ok()?)) {
                Some(seconds) => out.extend_from_slice(seconds.to_string().as_bytes()),
                None => figure(text, decimal, thousands, out),
            }
        }
        What::Day(order) => {
            let day = std::str::from_utf8(text).ok().and_then(|text| day_of(text, order, decimal));
            let Some((year, month, day)) = day else {
                out.extend_from_slice(text);
                return None;
            };
            scratch.clear();
            moment::write(scratch, (year, month, day), 0, "");
            out.extend_from_slice(&scratch.as_bytes()[..scratch.len().min(10)]);
        }
        What::Moment { order, clock_ms, next_day_of } => {
            scratch.clear();
            let both =
                std::str::from_utf8(text).ok().zip(std::str::from_utf8(second.unwrap_or_default()).ok());
            let wall = both.and_then(|(text, second)| {
                moment_of((text, second), order, decimal, clock_ms, next_day_of.and(base), scratch)
            });
            if wall.is_none() {
                out.extend_from_slice(text);
                if let Some(second) = second {
                    out.push(b' ');
                    out.extend_from_slice(second);
                }
                return None;
            }
            out.extend_from_slice(scratch.as_bytes());
            return wall;
        }
    }
    None
}

fn day_of(text: &str, order: DayOrder, decimal: u8) -> Option<(u32, u32, u32)> {
    if order.is_count()
        && let Some(figure) = plain_figure(text, decimal)
        && let Some((ms, _)) = moment::counted(figure, order)
    {
        return day_at(ms.div_euclid(DAY_MS));
    }
    moment::wall(text, order)?.day
}

/// The calendar day of a number of days since 1970.
fn day_at(days: i64) -> Option<(u32, u32, u32)> {
    let date = jiff::civil::date(1970, 1, 1).checked_add(jiff::SignedDuration::from_hours(24 * days)).ok()?;
    Some((
        u32::try_from(date.year()).ok()?,
        u32::try_from(date.month()).ok()?,
        u32::try_from(date.day()).ok()?,
    ))
}

/// Writes the time that one or two cells hold into `out`; its wall time, ms.
fn moment_of(
    (text, second): (&str, &str),
    order: DayOrder,
    decimal: u8,
    clock_ms: Option<u32>,
    next_day_of: Option<i64>,
    out: &mut String,
) -> Option<i64> {
    if order.is_count()
        && let Some(figure) = plain_figure(text, decimal)
        && let Some((ms, utc)) = moment::counted(figure, order)
    {
        let day = day_at(ms.div_euclid(DAY_MS))?;
        moment::write(out, day, ms.rem_euclid(DAY_MS) as u32, if utc { "Z" } else { "" });
        return Some(ms);
    }
    let first = moment::wall(text, order)?;
    let other = if second.is_empty() { None } else { Some(moment::wall(second, order)?) };
    let mut day = first.day.or(other.and_then(|other| other.day))?;
    // A day column of some programs holds a midnight beside it: the second column then has the time.
    let own_clock = first.within_ms.filter(|&ms| other.is_none() || ms != 0);
    let within_ms = match (own_clock, other.and_then(|other| other.within_ms)) {
        (_, Some(within_ms)) | (Some(within_ms), None) => Some(within_ms),
        (None, None) => clock_ms,
    };
    let Some(within_ms) = within_ms else {
        moment::write(out, day, 0, "");
        out.truncate(10);
        return Some(0);
    };
    let offset =
        other.map_or(first.offset, |other| if other.offset.is_empty() { first.offset } else { other.offset });
    let (year, month, of_month) = day;
    if days_in(year as i32, month) < of_month {
        // Written as it is: the reader says that there is no such day.
        moment::write(out, day, within_ms, offset);
        return Some(0);
    }
    let mut days = i64::from(days_since_1970(year as i32, month as i32, of_month as i32));
    let mut wall_ms = days * DAY_MS + i64::from(within_ms);
    if next_day_of.is_some_and(|base| wall_ms + NEXT_DAY_FROM_MS < base) {
        days += 1;
        wall_ms += DAY_MS;
        day = day_at(days)?;
    }
    moment::write(out, day, within_ms, offset);
    Some(wall_ms)
}

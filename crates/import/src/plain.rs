//! A plain table from its first byte to its last: each record a row or an issue.

use std::io::Read;

use cowpath_core::tables::{Cell, Table};

use jiff::tz::TimeZone;

use crate::alike::alike;
use crate::column_map;
use crate::column_map::translate::{self, Translator};
use crate::head;
use crate::issue::{Issue, IssueKind, Wrong, as_text, shown};
use crate::order::Choice;
use crate::records::{Cells, Found, Records};
use crate::row::{self, Refused, Typed, trimmed};
use crate::sniff::{self, Plan};
use crate::stream::{self, Encoding};
use crate::time::Clock;
use crate::trouble::{ReadError, Unreadable, listed};
use crate::waiting::{Settled, Waiting};
use crate::{Counts, Progress, Reading, Sink};

/// Rows between two words of progress.
const ROWS_A_WORD: u64 = 8192;

/// See [`crate::read_from`].
pub(crate) fn read<S: Sink>(
    source: impl Read,
    of_bytes: Option<u64>,
    reading: &Reading,
    sink: &mut S,
    progress: &mut dyn FnMut(Progress),
) -> Result<Counts, ReadError<S::Error>> {
    let map = reading.map.as_deref();
    let text = stream::open(
        source,
        reading.most_unpacked_bytes,
        map.map_or_else(Encoding::default, |map| map.encoding),
    )?;
    let (form, taken) = (text.form, text.taken);
    let separator = map.map_or(b',', |map| map.separator);
    let mut records = Records::separated(text.bytes, reading.longest_line, separator);
    let (plan, translator) = match map {
        None => (sniff::plan(head::header(&mut records, form, reading)?)?, None),
        Some(map) => {
            let header = column_map::header::find(&mut records, map, form)?;
            let (plan, translator) = translate::begin(map, header);
            (plan, Some(translator))
        }
    };
    let cells = translator.as_ref().map_or(plan.header.len(), |translator| translator.header.len());
    let named = map.and_then(|map| map.zone.as_deref()).and_then(|zone| TimeZone::get(zone).ok());
    let waiting = Waiting::new(plan.table);
    let mut rows = Rows {
        counts: Counts { table: plan.table.name, rows_read: 0, rows_refused: 0 },
        plan,
        translator,
        header_line: records.line(),
        clock: Clock::new(named.unwrap_or_else(|| reading.zone.clone())),
        now_ms: reading.now.as_millisecond(),
        row: Vec::new(),
        waiting,
        again: Cells::separated(separator),
        sink,
    };
    rows.begin().map_err(ReadError::Sink)?;
    loop {
        let found = records.next(Some(cells)).map_err(|why| stream::trouble_of(why, form))?;
        let line = records.line();
        match found {
            Found::End => break,
            Found::Record => rows.record(line, (&records.cells, records.text(), records.is_cut())),
            Found::BadQuote => rows.refuse(
                line,
                Some(as_text(records.text())),
                None,
                Wrong::new(
                    "its quotation marks are not in order: one is opened and not closed, or closed within a cell",
                    "close it, or write a quotation mark that belongs to the text twice, within quotation marks; then read the file again",
                ),
            ),
            Found::TooLong(bytes) => rows.refuse(
                line,
                Some(format!("{}… (shortened: the line has {bytes} bytes)", as_text(records.text()))),
                None,
                Wrong::new(
                    format!("the line has {bytes} bytes, more than the {} that a row may have", reading.longest_line),
                    "look at this line in the file: it may have lost its line ends, or the file was damaged; only its beginning is kept",
                ),
            ),
        }
        .map_err(ReadError::Sink)?;
        if rows.counts.rows_read.is_multiple_of(ROWS_A_WORD) {
            progress(Progress { rows: rows.counts.rows_read, bytes: taken.get(), of_bytes });
        }
    }
    rows.end().map_err(ReadError::Sink)?;
    progress(Progress { rows: rows.counts.rows_read, bytes: taken.get(), of_bytes });
    Ok(rows.counts)
}

/// See [`crate::which_table`].
pub(crate) fn which(source: impl Read, reading: &Reading) -> Result<&'static Table, Unreadable> {
    let text = stream::open(source, reading.most_unpacked_bytes, Encoding::default())?;
    let mut records = Records::new(text.bytes, reading.longest_line);
    Ok(sniff::plan(head::header(&mut records, text.form, reading)?)?.table)
}

/// Everything between a record and the sink.
struct Rows<'a, S> {
    plan: Plan,
    /// Of a file that is read with a map.
    translator: Option<Translator>,
    header_line: u64,
    clock: Clock,
    now_ms: i64,
    row: Vec<Cell>,
    waiting: Waiting,
    again: Cells,
    counts: Counts,
    sink: &'a mut S,
}

impl<S: Sink> Rows<'_, S> {
    fn begin(&mut self) -> Result<(), S::Error> {
        let header = self.translator.as_ref().map_or(&self.plan.header, |translator| &translator.header);
        self.sink.table(self.plan.table, header)?;
        let strangers: Vec<String> = self.translator.as_ref().map_or_else(Vec::new, |translator| {
            translator.strangers.iter().map(|&at| translator.header[at].clone()).collect()
        });
        for word in strangers {
            self.sink.issue(Issue {
                line: Some(self.header_line),
                column: Some(shown(word.as_bytes())),
                value: None,
                reason: "the map does not know this column".into(),
                remedy: "nothing, if you can do without it; else add it to the map: `cowpath map FILE` proposes how"
                    .into(),
                kind: IssueKind::ColumnNotUsed,
                raw: None,
            })?;
        }
        for &source in &self.plan.unused {
            let word = &self.plan.header[source];
            let (reason, column) = if word.is_empty() {
                (format!("column {} has no name", source + 1), None)
            } else {
                (format!("not a column of `{}`", self.plan.table.name), Some(shown(word.as_bytes())))
            };
            // A word that is too long to be a slip is not compared.
            let meant = if word.len() <= 40 { alike(self.plan.table, word) } else { Vec::new() };
            let remedy = if meant.is_empty() {
                "nothing, if you can do without it; else give it the name of a column in `docs/tables.md`"
                    .to_owned()
            } else {
                let meant: Vec<&str> = meant.iter().map(String::as_str).collect();
                format!("if it is {}, give it that name and read the file again", listed(&meant, "or"))
            };
            self.sink.issue(Issue {
                line: Some(self.header_line),
                column,
                value: None,
                reason,
                remedy,
                kind: IssueKind::ColumnNotUsed,
                raw: None,
            })?;
        }
        Ok(())
    }

    #[inline]
    fn record(&mut self, line: u64, record: (&Cells, &[u8], bool)) -> Result<(), S::Error> {
        match self.typed(record, Choice::Open) {
            Typed::Row { order_ms, fitted } => {
                if let Some(ms) = order_ms {
                    let settled = self.waiting.certain(ms, &self.row);
                    if !settled.is_empty() {
                        // The rows that waited go first; this one is read again into the cells they used.
                        self.read_settled(settled)?;
                        self.typed(record, Choice::Open);
                    }
                }
                if let Some(source) = fitted {
                    self.note_fitted(line, record, source)?;
                }
                self.counts.rows_read += 1;
                self.sink.row(line, &mut self.row)
            }
            Typed::Waits(twice) => {
                let settled = self.waiting.twice(line, record.1, twice, &self.row);
                self.read_settled(settled)
            }
            Typed::Blank => Ok(()),
            Typed::Refused(refused) => self.refuse_record(line, (record.0, record.1), refused),
        }
    }

    /// The record into `row`; of a file that is read with a map, by way of our own form.
    #[inline]
    fn typed(&mut self, record: (&Cells, &[u8], bool), choice: Choice) -> Typed {
        let Some(translator) = &mut self.translator else {
            return row::read(&self.plan, &mut self.clock, self.now_ms, record, choice, &mut self.row);
        };
        match translator.translate(record) {
            Ok(true) => {}
            Ok(false) => return Typed::Blank,
            Err(refused) => return Typed::Refused(refused),
        }
        let own = (&translator.own, record.1, false);
        match row::read(&self.plan, &mut self.clock, self.now_ms, own, choice, &mut self.row) {
            Typed::Refused(_) if row::is_blank(record.0, record.1) => Typed::Blank,
            Typed::Refused(Refused { source, wrong }) => Typed::Refused(Refused {
                source: source.and_then(|cell| translator.sources.get(cell).copied().flatten()),
                wrong,
            }),
            Typed::Row { order_ms, fitted } => Typed::Row {
                order_ms,
                fitted: fitted.and_then(|cell| translator.sources.get(cell).copied().flatten()),
            },
            other => other,
        }
    }

    /// Header words of the file.
    fn header(&self) -> &[String] {
        self.translator.as_ref().map_or(&self.plan.header, |translator| &translator.header)
    }

    fn end(&mut self) -> Result<(), S::Error> {
        let settled = self.waiting.end();
        self.read_settled(settled)
    }

    /// Reads rows that waited, each with its choice.
    fn read_settled(&mut self, groups: Vec<Settled>) -> Result<(), S::Error> {
        let mut cells = std::mem::take(&mut self.again);
        let wanted = Some(self.header().len());
        for settled in groups {
            self.note_decided(&settled)?;
            for (at, held) in settled.held.iter().enumerate() {
                cells.scan(&held.text, true, wanted);
                let record = (&cells, held.text.as_slice(), false);
                let choice = settled.decided.map_or(Choice::Undecided, |decided| decided.choice(at));
                match self.typed(record, choice) {
                    Typed::Refused(refused) => {
                        self.refuse_record(held.line, (&cells, &held.text), refused)?
                    }
                    _ => {
                        self.counts.rows_read += 1;
                        self.sink.row(held.line, &mut self.row)?;
                    }
                }
            }
        }
        self.again = cells;
        Ok(())
    }

    fn note_decided(&mut self, settled: &Settled) -> Result<(), S::Error> {
        let (Some(decided), [first, .., last]) = (settled.decided, settled.held.as_slice()) else {
            return Ok(());
        };
        let (Some(from), Some(to)) = (settled.held.get(decided.step - 1), settled.held.get(decided.step))
        else {
            return Ok(());
        };
        let (one, other) =
            if decided.before == Choice::First { ("before", "after") } else { ("after", "before") };
        let whose = settled
            .whose
            .as_ref()
            .map(|whose| format!(" of {}", shown(whose.as_bytes())))
            .unwrap_or_default();
        let reason = format!(
            "the wall times{whose} from line {} to {} came twice, as the clock was set back; {} in order of time, so \
             those up to line {} were read as {one} the change and those from line {} on as {other} it",
            first.line,
            last.line,
            if settled.whose.is_some() { "they are" } else { "all rows are" },
            from.line,
            to.line
        );
        let source =
            self.plan.used.iter().find(|used| Some(used.target) == self.plan.order).map(|used| used.source);
        let source = match &self.translator {
            Some(translator) => source.and_then(|cell| translator.sources.get(cell).copied().flatten()),
            None => source,
        };
        self.note(first.line, source, None, reason)
    }

    fn note_fitted(
        &mut self,
        line: u64,
        (cells, text, _): (&Cells, &[u8], bool),
        source: usize,
    ) -> Result<(), S::Error> {
        let value = shown(trimmed(cells.of(text, source)));
        let is_until = self.header()[source].eq_ignore_ascii_case("until");
        let read_as = if is_until {
            "as the later one, so that no milk is let go too early"
        } else {
            "as the one that fits the other times of the row"
        };
        let reason = format!("this wall time came twice, as the clock was set back; it was read {read_as}");
        self.note(line, Some(source), Some(value), reason)
    }

    fn note(
        &mut self,
        line: u64,
        source: Option<usize>,
        value: Option<String>,
        reason: String,
    ) -> Result<(), S::Error> {
        self.sink.issue(Issue {
            line: Some(line),
            column: source.and_then(|source| self.header().get(source).cloned()),
            value,
            reason,
            remedy:
                "nothing, if that is right; else write these times with their offset and read the file again"
                    .into(),
            kind: IssueKind::Note,
            raw: None,
        })
    }

    fn refuse_record(
        &mut self,
        line: u64,
        (cells, text): (&Cells, &[u8]),
        refused: Refused,
    ) -> Result<(), S::Error> {
        let about = refused.source.map(|source| {
            let value = trimmed(cells.of(text, source));
            (self.header()[source].clone(), (!value.is_empty()).then(|| shown(value)))
        });
        self.refuse(line, Some(as_text(text)), about, refused.wrong)
    }

    fn refuse(
        &mut self,
        line: u64,
        raw: Option<String>,
        about: Option<(String, Option<String>)>,
        wrong: Wrong,
    ) -> Result<(), S::Error> {
        self.counts.rows_read += 1;
        self.counts.rows_refused += 1;
        let (column, value) = about.map_or((None, None), |(column, value)| (Some(column), value));
        self.sink.issue(Issue {
            line: Some(line),
            column,
            value,
            reason: wrong.reason,
            remedy: wrong.remedy,
            kind: IssueKind::RowRefused,
            raw,
        })
    }
}

//! One row on its way in: new, the same, changed, or not usable?

use cowpath_core::tables::Cell;
use rusqlite::{Statement, params};

use crate::{
    batch::{Batch, Disposition, Refusal},
    cells,
    error::{Result, StoreError},
    layout::Layout,
    names::Names,
};

/// What is known of the row of a key without reading it.
pub(crate) struct Known {
    print: i64,
    pub(crate) batch: i64,
    pub(crate) line: i64,
    stands: bool,
}

impl Batch<'_> {
    pub(crate) fn take(&mut self, line: u64, row: &[Cell]) -> Result<Disposition> {
        let filled = self.fits(line, row)?;
        if let Some(refusal) = self.unusable(line, row) {
            self.refuse(&refusal)?;
            return Ok(Disposition::Refused(refusal));
        }
        self.tally.read += 1;
        self.filled_mask |= filled;
        let print = cells::print(row) as i64;
        // Logs come in runs: all new, or all known. Asking in the likelier order saves half the work.
        if !self.likely_known {
            if self.put_in(line, row, print)? {
                return Ok(Disposition::New);
            }
            self.likely_known = true;
        }
        match self.look(row)? {
            Some(known) if known.print == print => Ok(self.same(row, &known)?),
            Some(known) => self.differs(line, row, &known),
            None => {
                self.likely_known = false;
                if !self.put_in(line, row, print)? {
                    return Err(StoreError::Misfit {
                        line,
                        detail: "its key was not found and is taken".into(),
                    });
                }
                Ok(Disposition::New)
            }
        }
    }

    /// Columns that are filled, as bits; an error where one of them was not announced.
    fn fits(&self, line: u64, row: &[Cell]) -> Result<u64> {
        if row.len() != self.layout.kept.len() {
            let detail = format!("{} cells where {} were expected", row.len(), self.layout.kept.len());
            return Err(StoreError::Misfit { line, detail });
        }
        let mut filled = 0;
        for (column, cell) in row.iter().enumerate() {
            filled |= u64::from(!cell.is_missing()) << column;
        }
        let beyond = filled & !self.given_mask;
        if beyond != 0 {
            let column = self.layout.table.columns[beyond.trailing_zeros() as usize].name;
            return Err(StoreError::Misfit { line, detail: format!("{column} was not announced") });
        }
        Ok(filled)
    }

    /// The reader has checked this already; what rests on it here (who stands where, keys) must not rest on trust.
    fn unusable(&self, line: u64, row: &[Cell]) -> Option<Refusal> {
        let table = self.layout.table;
        let refusal = |column: &str, value: String, reason: String, remedy: String| Refusal {
            line,
            column: column.to_owned(),
            value,
            reason,
            remedy,
            raw: cells::as_line(table, row),
        };
        for (column, cell) in table.columns.iter().zip(row) {
            let empty = cell.is_missing() || cell.text().is_some_and(str::is_empty);
            if column.required && empty {
                let remedy = "enter it in the file and read the file again".into();
                return Some(refusal(column.name, String::new(), "it is empty and is needed".into(), remedy));
            }
        }
        for (column, cell) in table.columns.iter().zip(row) {
            if let Some(figure) = cell.number().filter(|figure| !figure.is_finite()) {
                let (reason, remedy) = ("it is no figure".into(), "mend it, or leave the cell empty".into());
                return Some(refusal(column.name, figure.to_string(), reason, remedy));
            }
        }
        let wrong = (table.agrees)(row).err()?;
        let value = table.index(wrong.column).map(|column| cells::words(&row[column])).unwrap_or_default();
        Some(refusal(wrong.column, value, wrong.reason, wrong.remedy))
    }

    /// Puts the row in if its key is free.
    fn put_in(&mut self, line: u64, row: &[Cell], print: i64) -> Result<bool> {
        bind_row(&mut self.insert, &self.layout, &self.given, row, &mut self.names, (self.id, line, print))?;
        if self.insert.raw_execute()? == 0 {
            return Ok(false);
        }
        self.tally.new += 1;
        self.tally.added += 1;
        self.note_change(self.layout.dated(row));
        if let (Some(stays), Some(key)) = (&mut self.stays, visit_key(row)) {
            let (cow, milking_box) = (self.names.cow(key.animal)?, self.names.milking_box(key.milking_box)?);
            stays.came(cow, milking_box, key.started_ms, key.ended_ms)?;
        }
        Ok(true)
    }

    pub(crate) fn look(&mut self, row: &[Cell]) -> Result<Option<Known>> {
        for (place, column) in self.layout.key.iter().enumerate() {
            cells::bind(&mut self.glance, place + 1, &self.layout, *column, &row[*column], &mut self.names)?;
        }
        let mut rows = self.glance.raw_query();
        let Some(found) = rows.next()? else { return Ok(None) };
        let stands: i64 = found.get(3)?;
        Ok(Some(Known {
            print: found.get(0)?,
            batch: found.get(1)?,
            line: found.get(2)?,
            stands: stands != 0,
        }))
    }

    fn same(&mut self, row: &[Cell], known: &Known) -> Result<Disposition> {
        if let (false, Some(key)) = (known.stands, visit_key(row)) {
            let (cow, milking_box) = (self.names.cow(key.animal)?, self.names.milking_box(key.milking_box)?);
            self.aside_again.push((cow, key.started_ms, milking_box));
        } else {
            self.tally.same += 1;
        }
        Ok(Disposition::Same)
    }

    /// The key is known and the fingerprint is another.
    fn differs(&mut self, line: u64, row: &[Cell], known: &Known) -> Result<Disposition> {
        let old = self.fetch(row)?;
        let merged: Vec<Cell> = (row.iter().zip(&old).enumerate())
            .map(|(column, (new, old))| if self.given_mask >> column & 1 == 1 { new } else { old }.clone())
            .collect();
        let print = cells::print(&merged) as i64;
        if print == known.print {
            return self.same(&merged, known);
        }
        self.connection
            .prepare_cached(
                "INSERT INTO history (table_name, row_key, batch, line, replaced_by, cells) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![
                self.layout.table.name,
                cells::key_words(&self.layout, &old),
                known.batch,
                known.line,
                self.id,
                cells::json(self.layout.table, &old)
            ])?;
        let all: Vec<usize> = (0..merged.len()).collect();
        let mut overwrite = self.connection.prepare_cached(&self.layout.overwrite(&all))?;
        bind_row(&mut overwrite, &self.layout, &all, &merged, &mut self.names, (self.id, line, print))?;
        overwrite.raw_execute()?;
        self.tally.replaced += 1;
        self.tally.changed += 1;
        self.tally.own_changed += u64::from(known.batch == self.id);
        for version in [&old, &merged] {
            self.note_change(self.layout.dated(version));
        }
        if let (Some(stays), Some(before), Some(after)) =
            (&mut self.stays, visit_key(&old), visit_key(&merged))
        {
            // It was written as standing; unless nothing of its span changed, who stands there is asked again.
            if before.ended_ms != after.ended_ms || !known.stands {
                let cow = self.names.cow(after.animal)?;
                stays.changed(cow, after.started_ms, before.ended_ms.max(after.ended_ms));
            }
        }
        Ok(Disposition::Replaced)
    }

    pub(crate) fn fetch(&mut self, row: &[Cell]) -> Result<Vec<Cell>> {
        let mut fetch = self.connection.prepare_cached(&self.layout.fetch())?;
        for (place, column) in self.layout.key.iter().enumerate() {
            cells::bind(&mut fetch, place + 1, &self.layout, *column, &row[*column], &mut self.names)?;
        }
        let mut rows = fetch.raw_query();
        let Some(found) = rows.next()? else {
            let detail = "the row of a key is there and cannot be read".into();
            return Err(StoreError::Stored { what: "a row", detail });
        };
        cells::read(found, 0, &self.layout)
    }
}

fn bind_row(
    statement: &mut Statement<'_>,
    layout: &Layout,
    columns: &[usize],
    row: &[Cell],
    names: &mut Names<'_>,
    (batch, line, print): (i64, u64, i64),
) -> Result<()> {
    statement.raw_bind_parameter(1, batch)?;
    statement.raw_bind_parameter(2, line as i64)?;
    statement.raw_bind_parameter(3, print)?;
    for (place, column) in columns.iter().enumerate() {
        cells::bind(statement, place + 4, layout, *column, &row[*column], names)?;
    }
    Ok(())
}

/// What decides who stands where.
pub(crate) struct VisitKey<'r> {
    pub animal: &'r str,
    pub milking_box: &'r str,
    pub started_ms: i64,
    pub ended_ms: i64,
}

/// Of a row of `visits`; such rows were checked to have all four.
pub(crate) fn visit_key(row: &[Cell]) -> Option<VisitKey<'_>> {
    Some(VisitKey {
        animal: row[0].text()?,
        milking_box: row[1].text()?,
        started_ms: row[2].time()?.as_millisecond(),
        ended_ms: row[3].time()?.as_millisecond(),
    })
}

//! A row goes from its table to the history because the document that brought it was taken back or now says another.

use cowpath_core::tables::Cell;
use jiff::Timestamp;
use rusqlite::params;

use crate::{
    batch::{Batch, Disposition},
    cells,
    error::Result,
    layout::{Kept, Layout},
    write::visit_key,
};

impl Batch<'_> {
    /// Takes the row of a key out of the table; its cells stay in the history. The key as [`crate::HistoryRow::key`]
    /// writes it, parted by U+001F. Tells whether there was such a row. Nothing is counted but that.
    pub fn take_back(&mut self, row_key: &str) -> Result<bool> {
        self.sound()?;
        let taken = self.take_out(row_key);
        self.broken |= taken.is_err();
        taken
    }

    fn take_out(&mut self, row_key: &str) -> Result<bool> {
        let Some(row) = row_of_key(&self.layout, row_key) else { return Ok(false) };
        let Some(known) = self.look(&row)? else { return Ok(false) };
        let old = self.fetch(&row)?;
        self.connection
            .prepare_cached(
                "INSERT INTO history (table_name, row_key, batch, line, replaced_by, cells) VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            )?
            .execute(params![
                self.layout.table.name,
                row_key,
                known.batch,
                known.line,
                self.id,
                cells::json(self.layout.table, &old)
            ])?;
        let mut remove = self.connection.prepare_cached(&self.layout.remove())?;
        for (place, column) in self.layout.key.iter().enumerate() {
            cells::bind(&mut remove, place + 1, &self.layout, *column, &row[*column], &mut self.names)?;
        }
        remove.raw_execute()?;
        self.tally.taken_back += 1;
        self.note_change(self.layout.dated(&old));
        if let (Some(stays), Some(key)) = (&mut self.stays, visit_key(&old)) {
            // Those that gave way to it may stand now.
            let cow = self.names.cow(key.animal)?;
            stays.changed(cow, key.started_ms, key.ended_ms);
        }
        Ok(true)
    }

    /// Counts a row that was read and changes nothing.
    pub(crate) fn pass(&mut self) {
        self.tally.read += 1;
        self.tally.same += 1;
    }

    /// Takes the last row out of the count: it was not read, only changed by what was.
    pub(crate) fn uncount(&mut self, became: &Disposition) {
        let tally = &mut self.tally;
        let counted = match became {
            Disposition::New => &mut tally.new,
            Disposition::Same => &mut tally.same,
            Disposition::Replaced => &mut tally.replaced,
            Disposition::Refused(_) => &mut tally.refused,
        };
        *counted = counted.saturating_sub(1);
        tally.read = tally.read.saturating_sub(1);
    }

    /// Counts a document that took rows back: they are replaced by nothing.
    pub(crate) fn gone(&mut self) {
        self.tally.read += 1;
        self.tally.replaced += 1;
    }
}

/// The cells of a key, in a row that is otherwise empty; `None` where the words are no key of the table.
fn row_of_key(layout: &Layout, words: &str) -> Option<Vec<Cell>> {
    let mut row = vec![Cell::Missing; layout.kept.len()];
    let parts: Vec<&str> = words.split('\u{1f}').collect();
    if parts.len() != layout.key.len() {
        return None;
    }
    for (column, part) in layout.key.iter().zip(parts) {
        if part.is_empty() {
            continue;
        }
        row[*column] = match layout.kept[*column] {
            Kept::Time => Cell::Time(part.parse::<Timestamp>().ok()?),
            Kept::Date => Cell::Date(part.parse().ok()?),
            Kept::Real => Cell::Number(part.parse().ok()?),
            Kept::Flag => Cell::Flag(part == "1"),
            Kept::Cow | Kept::Box | Kept::Text => Cell::Text(part.to_owned()),
        };
    }
    Some(row)
}

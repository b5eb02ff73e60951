//! One file that holds rows of several tables: a batch for each of them, all kept or none.
//!
//! # Documents
//! What comes in is a document: rows that belong together, often one. It may bear a name at its source, and tell when it
//! was last changed there ([`Origin`]). Of two versions the later stands, whichever is read first; rows that the later
//! one no longer holds are taken back, and so are all of them when the document was deleted. The history keeps them.
//! # Sums
//! Each batch's own add up ([`crate::Sums`]): an older version than the one known counts as same, a deletion as
//! replaced where it took something back and else as same.

use std::collections::BTreeMap;

use cowpath_core::tables::{Cell, Table};
use jiff::Timestamp;
use rusqlite::{Connection, params};

use crate::{
    batch::{Batch, Disposition, Finished, Refusal, Remark, Source},
    cells,
    error::{Result, StoreError},
    farm::Farm,
    meal::{self, Meal},
    open,
    overlap::Stays,
};

/// How a document is known at its source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    /// The source: a program, a service.
    pub source: String,
    /// The document's name there.
    pub id: String,
    /// When it was last changed there, where it says so.
    pub modified: Option<Timestamp>,
    /// It was deleted there.
    pub deleted: bool,
}

/// One document: where it stands in the file, whose it is, and what it holds.
#[derive(Debug, Clone, Copy)]
pub struct Sent<'r> {
    /// Its place in the file, from 1.
    pub line: u64,
    /// Its name at its source, if it bears one.
    pub origin: Option<&'r Origin>,
    /// The table it is counted in when it holds no row.
    pub table: &'static Table,
    /// Its rows, cells in each table's order.
    pub rows: &'r [(&'static Table, Vec<Cell>)],
}

/// What came of one table of a delivery.
#[derive(Debug, Clone)]
pub struct Delivered {
    /// The table.
    pub table: &'static Table,
    /// Its batch.
    pub finished: Finished,
    /// Rows refused only when all of the file was known.
    pub refused: Vec<Refusal>,
}

/// A file of several tables under way. Dropped without [`Delivery::finish`] it leaves nothing behind.
pub struct Delivery<'a> {
    connection: &'a Connection,
    source: Source,
    columns: fn(&'static Table) -> Vec<usize>,
    batches: BTreeMap<&'static str, (&'static Table, Batch<'a>)>,
    sources: BTreeMap<String, Known>,
    meals: Option<Batch<'a>>,
    cannot_say: BTreeMap<&'static str, String>,
    finished: bool,
}

/// A source of documents.
struct Known {
    id: i64,
    /// The greatest name of its documents, in the order of bytes: one beyond it is not known, and need not be asked for.
    greatest: Option<String>,
}

/// A row that a document brought before.
struct Brought {
    table: String,
    row_key: String,
    modified: Option<i64>,
    deleted: bool,
}

impl Farm {
    /// Begins to read a file of several tables. Of `source` the table is not looked at; `columns` tells which columns of
    /// a table the file's format can fill, by their places. Waits and fails as [`Farm::begin`].
    pub fn deliver(
        &mut self,
        source: &Source,
        columns: fn(&'static Table) -> Vec<usize>,
    ) -> Result<Delivery<'_>> {
        let connection = &self.connection;
        open::make_room(connection)?;
        connection.execute_batch("BEGIN IMMEDIATE")?;
        Ok(Delivery {
            connection,
            source: source.clone(),
            columns,
            batches: BTreeMap::new(),
            sources: BTreeMap::new(),
            meals: None,
            cannot_say: BTreeMap::new(),
            finished: false,
        })
    }
}

impl<'a> Delivery<'a> {
    /// Takes a document; what became of each of its rows, in their order, or of the document where it holds none.
    pub fn take(&mut self, sent: &Sent<'_>) -> Result<Vec<Disposition>> {
        self.take_of(sent, None)
    }

    /// The same of a cow whose rows may stand under another number that she was known by before: what comes under her
    /// herd number now goes from there to the history.
    pub fn take_of(&mut self, sent: &Sent<'_>, formerly: Option<&str>) -> Result<Vec<Disposition>> {
        let Some(origin) = sent.origin else {
            let mut all = Vec::with_capacity(sent.rows.len());
            for (table, cells) in sent.rows {
                all.push(self.row(table, sent.line, cells)?);
                self.leave(formerly, table, cells)?;
            }
            return Ok(all);
        };
        let (source, is_new) = self.source_of(origin)?;
        let known = if is_new { Vec::new() } else { self.brought(source, &origin.id)? };
        let modified = origin.modified.map(Timestamp::as_millisecond);
        let newer = |row: &Brought| row.modified.zip(modified).is_some_and(|(known, read)| read < known);
        if known.iter().any(newer) {
            return self.nothing(sent);
        }
        if origin.deleted {
            return self.take_back(sent, source, &known, modified);
        }
        let mut all = Vec::with_capacity(sent.rows.len());
        let mut kept: Vec<(&str, String)> = Vec::with_capacity(sent.rows.len());
        for (table, cells) in sent.rows {
            let became = self.row(table, sent.line, cells)?;
            if !matches!(became, Disposition::Refused(_)) {
                kept.push((table.name, self.key(table, cells)?));
                self.leave(formerly, table, cells)?;
            }
            all.push(became);
        }
        for row in &known {
            let stays = kept.iter().any(|(table, key)| *table == row.table && *key == row.row_key);
            if !stays {
                self.forget(source, &origin.id, row)?;
            }
        }
        for (table, key) in &kept {
            let as_before = |row: &Brought| {
                row.table == *table && row.row_key == *key && row.modified == modified && !row.deleted
            };
            if !known.iter().any(as_before) {
                self.note(source, origin, (table, key), modified, false)?;
            }
        }
        Ok(all)
    }

    /// Keeps feed that belongs to a visit; whose it is, is settled by [`Delivery::finish`].
    pub fn meal(&mut self, line: u64, origin: Option<&Origin>, meal: &Meal) -> Result<()> {
        if self.meals.is_none() {
            let source = Source { table: meal::visits(), columns: meal::columns(), ..self.source.clone() };
            self.meals = Some(Batch::start(self.connection, &source)?);
        }
        let Some(batch) = &mut self.meals else { return Ok(()) };
        if !meal::keep(self.connection, batch.id, line, origin, meal)? {
            batch.pass();
        }
        Ok(())
    }

    /// Keeps a document that the reader could not use, in the table it would have been of.
    pub fn refuse(&mut self, table: &'static Table, refusal: &Refusal) -> Result<()> {
        self.batch(table)?.refuse(refusal)
    }

    /// Keeps something to say of the file with the first of its tables; told only, where it has none.
    pub fn remark(&mut self, remark: &Remark) -> Result<()> {
        match self.batches.values_mut().next() {
            Some((_, batch)) => batch.remark(remark),
            None => Ok(()),
        }
    }

    /// What the file's format has no word for in a table, as words parted by blanks.
    pub fn cannot_say(&mut self, table: &'static Table, words: &str) {
        self.cannot_say.insert(table.name, words.to_owned());
    }

    /// A cow's other identifiers and the herd number they stand for.
    pub fn alias(&mut self, scheme: &str, id: &str, animal: &str) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO alias (scheme, id, animal) VALUES (?1, ?2, ?3)
                 ON CONFLICT DO UPDATE SET animal = excluded.animal WHERE animal <> excluded.animal",
            )?
            .execute([scheme, id, animal])?;
        Ok(())
    }

    /// Settles every table, and keeps the whole file.
    pub fn finish(mut self) -> Result<Vec<Delivered>> {
        let mut all = Vec::new();
        let mut batches = std::mem::take(&mut self.batches);
        for (table, batch) in batches.values_mut() {
            if let Some(words) = self.cannot_say.get(table.name) {
                batch.cannot_say.clone_from(words);
            }
            all.push(Delivered { table, finished: batch.settle()?, refused: Vec::new() });
        }
        // Once all visits of the file are there, and which of them stand.
        let mut meals = self.meals.take();
        if let Some(batch) = &mut meals {
            batch.stays = Some(Stays::new(self.connection)?);
            let refused = meal::settle(batch)?;
            all.push(Delivered { table: meal::visits(), finished: batch.settle()?, refused });
        }
        self.connection.execute_batch("COMMIT")?;
        self.finished = true;
        for batch in batches.values_mut().map(|(_, batch)| batch).chain(&mut meals) {
            batch.finished = true;
        }
        Ok(all)
    }

    fn row(&mut self, table: &'static Table, line: u64, cells: &[Cell]) -> Result<Disposition> {
        let batch = self.batch(table)?;
        if table.name == "animals" {
            // A document tells what it knows of a cow; of the rest it says nothing.
            let filled = |mask, (place, cell): (usize, &Cell)| mask | u64::from(!cell.is_missing()) << place;
            batch.given_mask = cells.iter().enumerate().fold(0, filled);
        }
        batch.row(line, cells)
    }

    /// Takes back the row that stands under the number she was known by before.
    fn leave(&mut self, formerly: Option<&str>, table: &'static Table, cells: &[Cell]) -> Result<()> {
        let Some((formerly, place)) = formerly.zip(table.index("animal")) else { return Ok(()) };
        let mut before = cells.to_vec();
        before[place] = Cell::Text(formerly.to_owned());
        let key = self.key(table, &before)?;
        self.batch(table)?.take_back(&key)?;
        Ok(())
    }

    fn batch(&mut self, table: &'static Table) -> Result<&mut Batch<'a>> {
        use std::collections::btree_map::Entry;
        match self.batches.entry(table.name) {
            Entry::Occupied(known) => Ok(&mut known.into_mut().1),
            Entry::Vacant(free) => {
                let source = Source { table, columns: (self.columns)(table), ..self.source.clone() };
                Ok(&mut free.insert((table, Batch::start(self.connection, &source)?)).1)
            }
        }
    }

    fn key(&mut self, table: &'static Table, row: &[Cell]) -> Result<String> {
        Ok(cells::key_words(&self.batch(table)?.layout, row))
    }

    /// The number of a document's source, and whether the document is certainly not known: logs mostly name theirs in
    /// order, so that each is beyond all before it.
    fn source_of(&mut self, origin: &Origin) -> Result<(i64, bool)> {
        if !self.sources.contains_key(&origin.source) {
            let known = self.source(&origin.source)?;
            self.sources.insert(origin.source.clone(), known);
        }
        let Some(known) = self.sources.get_mut(&origin.source) else {
            return Err(StoreError::Stored { what: "a source", detail: "it was not kept".into() });
        };
        if known.greatest.as_ref().is_some_and(|greatest| origin.id <= *greatest) {
            return Ok((known.id, false));
        }
        match &mut known.greatest {
            Some(greatest) => greatest.clone_from(&origin.id),
            none => *none = Some(origin.id.clone()),
        }
        Ok((known.id, true))
    }

    fn source(&self, name: &str) -> Result<Known> {
        self.connection
            .prepare_cached("INSERT INTO origin_source (name) VALUES (?1) ON CONFLICT DO NOTHING")?
            .execute([name])?;
        let id = self
            .connection
            .prepare_cached("SELECT id FROM origin_source WHERE name = ?1")?
            .query_row([name], |row| row.get(0))?;
        let greatest = self
            .connection
            .prepare_cached("SELECT max(source_id) FROM origin WHERE source = ?1")?
            .query_row([id], |row| row.get(0))?;
        Ok(Known { id, greatest })
    }

    fn brought(&self, source: i64, id: &str) -> Result<Vec<Brought>> {
        let mut known = self.connection.prepare_cached(
            "SELECT table_name, row_key, modified, deleted FROM origin WHERE source = ?1 AND source_id = ?2",
        )?;
        let rows = known.query_map(params![source, id], |row| {
            Ok(Brought {
                table: row.get(0)?,
                row_key: row.get(1)?,
                modified: row.get(2)?,
                deleted: row.get::<_, i64>(3)? != 0,
            })
        })?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    fn note(
        &self,
        source: i64,
        origin: &Origin,
        (table, key): (&str, &str),
        modified: Option<i64>,
        deleted: bool,
    ) -> Result<()> {
        self.connection
            .prepare_cached(
                "INSERT INTO origin (source, source_id, table_name, row_key, modified, deleted)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)
                 ON CONFLICT DO UPDATE SET modified = excluded.modified, deleted = excluded.deleted",
            )?
            .execute(params![source, origin.id, table, key, modified, i64::from(deleted)])?;
        Ok(())
    }

    /// A row that its document no longer holds goes to the history, unless another document brings it too.
    fn forget(&mut self, source: i64, id: &str, row: &Brought) -> Result<bool> {
        self.connection
            .prepare_cached(
                "DELETE FROM origin WHERE source = ?1 AND source_id = ?2 AND table_name = ?3 AND row_key = ?4",
            )?
            .execute(params![source, id, row.table, row.row_key])?;
        let Some(table) = cowpath_core::tables::table(&row.table) else { return Ok(false) };
        self.batch(table)?.take_back(&row.row_key)
    }

    /// An older version than the one known: each row counts, none is changed.
    fn nothing(&mut self, sent: &Sent<'_>) -> Result<Vec<Disposition>> {
        for (table, _) in sent.rows {
            self.batch(table)?.pass();
        }
        if sent.rows.is_empty() {
            self.batch(sent.table)?.pass();
        }
        Ok(vec![Disposition::Same; sent.rows.len().max(1)])
    }

    fn take_back(
        &mut self,
        sent: &Sent<'_>,
        source: i64,
        known: &[Brought],
        modified: Option<i64>,
    ) -> Result<Vec<Disposition>> {
        let mut any = false;
        for row in known {
            any |= self.forget(source, sent.origin.map_or("", |origin| &origin.id), row)?;
        }
        if let Some(origin) = sent.origin {
            // An earlier version that is read later must not bring it back.
            self.note(source, origin, ("", ""), modified, true)?;
        }
        let batch = self.batch(sent.table)?;
        if any {
            batch.gone();
        } else {
            batch.pass();
        }
        Ok(vec![if any { Disposition::Replaced } else { Disposition::Same }])
    }
}

impl Drop for Delivery<'_> {
    fn drop(&mut self) {
        if !self.finished && !self.connection.is_autocommit() {
            // Nothing can be done if this fails too: SQLite rolls back when the file is opened next.
            let _ = self.connection.execute_batch("ROLLBACK");
        }
    }
}

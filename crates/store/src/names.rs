//! Herd numbers and boxes: names outside, small ids inside the file.

use std::collections::BTreeMap;

use rusqlite::Connection;

use crate::error::Result;

/// The names of one batch: those known before and those it adds.
pub(crate) struct Names<'a> {
    connection: &'a Connection,
    cows: BTreeMap<String, i64>,
    boxes: BTreeMap<String, i64>,
}

impl<'a> Names<'a> {
    pub fn load(connection: &'a Connection) -> Result<Names<'a>> {
        Ok(Names {
            connection,
            cows: ids(connection, "animal_name")?.into_iter().map(|(id, name)| (name, id)).collect(),
            boxes: ids(connection, "box_name")?.into_iter().map(|(id, name)| (name, id)).collect(),
        })
    }

    /// Id of a herd number; made if it is new.
    pub fn cow(&mut self, number: &str) -> Result<i64> {
        if let Some(id) = self.cows.get(number) {
            return Ok(*id);
        }
        let id = add(self.connection, "animal_name", number)?;
        self.cows.insert(number.to_owned(), id);
        Ok(id)
    }

    /// Id of a box; made if it is new.
    pub fn milking_box(&mut self, name: &str) -> Result<i64> {
        if let Some(id) = self.boxes.get(name) {
            return Ok(*id);
        }
        let id = add(self.connection, "box_name", name)?;
        self.boxes.insert(name.to_owned(), id);
        Ok(id)
    }
}

fn add(connection: &Connection, list: &str, name: &str) -> Result<i64> {
    let added = connection
        .prepare_cached(&format!("INSERT INTO {list} (name) VALUES (?1) ON CONFLICT DO NOTHING"))?
        .execute([name])?;
    if added == 1 {
        return Ok(connection.last_insert_rowid());
    }
    // Another batch of the same delivery has just made it.
    let mut own = connection.prepare_cached(&format!("SELECT id FROM {list} WHERE name = ?1"))?;
    Ok(own.query_row([name], |row| row.get(0))?)
}

/// Ids and names of a list, by id.
pub(crate) fn ids(connection: &Connection, list: &str) -> Result<Vec<(i64, String)>> {
    let mut statement = connection.prepare_cached(&format!("SELECT id, name FROM {list} ORDER BY id"))?;
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

/// Names of a list in the order of their bytes.
pub(crate) fn sorted(connection: &Connection, list: &str) -> Result<Vec<String>> {
    let mut statement = connection.prepare_cached(&format!("SELECT name FROM {list} ORDER BY name"))?;
    let rows = statement.query_map([], |row| row.get(0))?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

/// For each id its name's place in [`sorted`]; ids that do not exist have place `u32::MAX`.
pub(crate) fn places(connection: &Connection, list: &str) -> Result<Vec<u32>> {
    let mut named = ids(connection, list)?;
    let longest = named.last().map_or(0, |(id, _)| *id as usize + 1);
    named.sort_by(|a, b| a.1.cmp(&b.1));
    let mut places = vec![u32::MAX; longest];
    for (place, (id, _)) in named.iter().enumerate() {
        places[*id as usize] = place as u32;
    }
    Ok(places)
}

//! What is known of the documents and files that came: a cow's other identifiers, which document is known, and what a
//! format has no word for.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;
use rusqlite::OptionalExtension;

use crate::{error::Result, farm::Farm, layout::day_of};

impl Farm {
    /// Every cow's other identifiers: (scheme, id) and the herd number they stand for.
    pub fn aliases(&self) -> Result<BTreeMap<(String, String), String>> {
        let mut all = self.connection.prepare_cached("SELECT scheme, id, animal FROM alias")?;
        let rows = all.query_map([], |row| Ok(((row.get(0)?, row.get(1)?), row.get(2)?)))?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// What the formats of all files that brought visits have no word for: the words that every batch of visits with
    /// rows of its own bears, empty where one file can say all.
    pub fn visits_cannot_say(&self) -> Result<Vec<String>> {
        let mut all = self
            .connection
            .prepare_cached("SELECT cannot_say FROM batch WHERE table_name = 'visits' AND 0 < rows_added")?;
        let rows = all.query_map([], |row| row.get::<_, String>(0))?.collect::<rusqlite::Result<Vec<_>>>()?;
        let mut words: Option<Vec<String>> = None;
        for row in rows {
            let own: Vec<String> = row.split_whitespace().map(str::to_owned).collect();
            words = Some(match words {
                None => own,
                Some(before) => before.into_iter().filter(|word| own.contains(word)).collect(),
            });
        }
        Ok(words.unwrap_or_default())
    }

    /// What nobody can say of the visits to each box that began on the days from one instant to another: the words that
    /// every file bears which brought them. Boxes of which all can be said have no words.
    pub fn boxes_cannot_say(
        &self,
        from: Timestamp,
        until: Timestamp,
    ) -> Result<BTreeMap<String, BTreeSet<String>>> {
        let any: bool = self.connection.query_row(
            "SELECT EXISTS (SELECT 1 FROM batch WHERE cannot_say <> '' AND table_name = 'visits')",
            [],
            |row| row.get(0),
        )?;
        if !any {
            return Ok(BTreeMap::new());
        }
        let mut all = self.connection.prepare_cached(
            "SELECT DISTINCT (SELECT name FROM box_name WHERE id = v.box), b.cannot_say
             FROM visits AS v JOIN batch AS b ON b.id = v.batch WHERE v.day BETWEEN ?1 AND ?2 AND v.stands = 1",
        )?;
        let days = [day_of(from.as_millisecond()), day_of(until.as_millisecond())];
        let mut rows = all.query(days)?;
        let mut boxes: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        while let Some(row) = rows.next()? {
            let (milking_box, words): (String, String) = (row.get(0)?, row.get(1)?);
            let own: BTreeSet<String> = words.split_whitespace().map(str::to_owned).collect();
            boxes
                .entry(milking_box)
                .and_modify(|words| words.retain(|word| own.contains(word)))
                .or_insert(own);
        }
        Ok(boxes)
    }

    /// What the form of a batch's file has no word for, as words parted by blanks.
    pub fn cannot_say_of(&self, batch: i64) -> Result<String> {
        let mut own = self.connection.prepare_cached("SELECT cannot_say FROM batch WHERE id = ?1")?;
        Ok(own.query_row([batch], |row| row.get(0)).optional()?.unwrap_or_default())
    }

    /// Official numbers under which visits stand, and the herd number of the cow that the herd list gives that official
    /// number: she was not named when they were read. Told by the first and last of those visits, of files read with that
    /// map.
    pub fn named_later(&self, map: &str) -> Result<Vec<(String, String)>> {
        let mut all = self.connection.prepare_cached(
            "SELECT own.name, herd.name FROM animals AS a
             JOIN animal_name AS own ON own.name = a.official_id JOIN animal_name AS herd ON herd.id = a.animal
             WHERE own.id <> a.animal AND EXISTS (
                 SELECT 1 FROM visits AS v JOIN batch AS b ON b.id = v.batch
                 WHERE v.day IN (own.first_visit / 86400000, own.last_visit / 86400000) AND v.animal = own.id
                 AND b.map = ?1)
             ORDER BY own.name",
        )?;
        let rows = all.query_map([map], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// Whether a document of that source is known, and when it was last changed there.
    pub fn origin_of(&self, source: &str, id: &str) -> Result<Option<(Option<i64>, bool)>> {
        Ok(self
            .connection
            .prepare_cached(
                "SELECT modified, deleted FROM origin JOIN origin_source AS s ON s.id = source
                 WHERE s.name = ?1 AND source_id = ?2 LIMIT 1",
            )?
            .query_row([source, id], |row| Ok((row.get(0)?, row.get::<_, i64>(1)? != 0)))
            .optional()?)
    }
}

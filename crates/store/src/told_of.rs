//! What is known of the documents and files that came: a cow's other identifiers, which document is known, and what a
//! format has no word for.

use std::collections::BTreeMap;

use rusqlite::OptionalExtension;

use crate::{error::Result, farm::Farm};

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

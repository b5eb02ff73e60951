//! When each animal's sensor last told something, and how often before.

use std::ops::Range;

use jiff::Timestamp;
use rusqlite::{OptionalExtension, params};

use crate::{cells, error::Result, farm::Farm, layout::day_of};

/// Bins of one animal's sensor over a span.
#[derive(Debug, Clone, PartialEq)]
pub struct Bins {
    /// Herd number.
    pub animal: String,
    /// Bins that began in the span.
    pub count: u64,
    /// Start of the first one in the span.
    pub first: Timestamp,
    /// End of the last one in the span.
    pub last_end: Timestamp,
}

/// What one animal's sensor told in one block of 24 hours.
#[derive(Debug, Clone, PartialEq)]
pub struct Rates {
    /// Herd number.
    pub animal: String,
    /// Whole days from the block's end to the span's.
    pub days_back: usize,
    /// Activity, rumination, eating, lying and steps for one minute that was told of.
    pub rates: [Option<f64>; 5],
}

impl Farm {
    /// For every herd number and every 24 hours that end at the span's end or whole days before it: what its bins of
    /// movement told, for one minute of them. In order of herd number, then of time.
    pub fn movement_rates(&self, span: Range<Timestamp>) -> Result<Vec<Rates>> {
        let mut all = self.connection.prepare_cached(
            "SELECT name, (?4 - \"from\" - 1) / 86400000 AS back,
                    sum(activity) / sum(minutes), sum(rumination_min) / sum(minutes), sum(eating_min) / sum(minutes),
                    sum(lying_min) / sum(minutes), sum(steps) / sum(minutes)
             FROM movement JOIN animal_name ON animal_name.id = animal
             WHERE day BETWEEN ?1 AND ?2 AND ?3 <= \"from\" AND \"from\" + CAST(minutes * 60000 AS INTEGER) <= ?4
             GROUP BY animal, back ORDER BY name, back DESC",
        )?;
        let (from, to) = (span.start.as_millisecond(), span.end.as_millisecond());
        let mut rows = all.query(params![day_of(from), day_of(to), from, to])?;
        let mut rates = Vec::new();
        while let Some(row) = rows.next()? {
            let mut own = [None; 5];
            for (at, rate) in own.iter_mut().enumerate() {
                *rate = row.get(2 + at)?;
            }
            rates.push(Rates {
                animal: row.get(0)?,
                days_back: usize::try_from(row.get::<_, i64>(1)?).unwrap_or(usize::MAX),
                rates: own,
            });
        }
        Ok(rates)
    }

    /// For every herd number with bins of movement that began in `[start, end)` and had closed by its end: how many,
    /// from when to when. In order of herd number.
    pub fn movement_bins(&self, span: Range<Timestamp>) -> Result<Vec<Bins>> {
        let mut all = self.connection.prepare_cached(
            "SELECT name, count(*), min(\"from\"), max(\"from\" + CAST(minutes * 60000 AS INTEGER))
             FROM movement JOIN animal_name ON animal_name.id = animal
             WHERE day BETWEEN ?1 AND ?2 AND ?3 <= \"from\" AND \"from\" + CAST(minutes * 60000 AS INTEGER) <= ?4
             GROUP BY animal ORDER BY name",
        )?;
        let (from, to) = (span.start.as_millisecond(), span.end.as_millisecond());
        let mut rows = all.query(params![day_of(from), day_of(to), from, to])?;
        let mut bins = Vec::new();
        while let Some(row) = rows.next()? {
            bins.push(Bins {
                animal: row.get(0)?,
                count: row.get::<_, i64>(1)?.unsigned_abs(),
                first: cells::instant(row.get(2)?, "from")?,
                last_end: cells::instant(row.get(3)?, "from")?,
            });
        }
        Ok(bins)
    }

    /// The last bins of movement of one herd number that had closed by a time, so many days back at most: those of the last
    /// fourteen days up to the last of them. `None` where there are none.
    pub fn last_bins(&self, animal: &str, by: Timestamp, days: i64) -> Result<Option<Bins>> {
        let by_ms = by.as_millisecond();
        let mut last = self.connection.prepare_cached(
            "WITH RECURSIVE own (id) AS (SELECT id FROM animal_name WHERE name = ?1),
                            back (day) AS (VALUES (?2) UNION ALL SELECT day - 1 FROM back WHERE ?3 < day)
             SELECT day FROM back
             WHERE EXISTS (SELECT 1 FROM movement WHERE movement.day = back.day AND animal = (SELECT id FROM own))
             LIMIT 1",
        )?;
        let newest = day_of(by_ms);
        let day: Option<i64> =
            last.query_row(params![animal, newest, newest - days], |row| row.get(0)).optional()?;
        let Some(day) = day else { return Ok(None) };
        let mut own = self.connection.prepare_cached(
            "SELECT count(*), min(\"from\"), max(\"from\" + CAST(minutes * 60000 AS INTEGER)) FROM movement
             WHERE day BETWEEN ?2 AND ?3 AND animal = (SELECT id FROM animal_name WHERE name = ?1)
               AND \"from\" + CAST(minutes * 60000 AS INTEGER) <= ?4",
        )?;
        let mut rows = own.query(params![animal, day - 14, day, by_ms])?;
        let Some(row) = rows.next()? else { return Ok(None) };
        let (Some(first), Some(last_end)) = (row.get(1)?, row.get(2)?) else { return Ok(None) };
        Ok(Some(Bins {
            animal: animal.to_owned(),
            count: row.get::<_, i64>(0)?.unsigned_abs(),
            first: cells::instant(first, "from")?,
            last_end: cells::instant(last_end, "from")?,
        }))
    }
}

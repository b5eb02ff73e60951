//! When each animal's sensor last told something, and how often before.

use std::ops::Range;

use jiff::Timestamp;
use rusqlite::params;

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

impl Farm {
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
}

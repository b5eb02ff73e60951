//! Bins of movement out of the file: the whole herd's, streamed.

use std::ops::{ControlFlow, Range};

use cowpath_core::tables::Bin;
use jiff::Timestamp;
use rusqlite::params;

use crate::{cells, error::Result, farm::Farm, layout::day_of, names};

/// What is called with each bin: the place of its herd number in [`Farm::numbers`], and the bin.
pub type EachBin<'f> = dyn FnMut(u32, &Bin) -> ControlFlow<()> + 'f;

impl Farm {
    /// Every bin that began in `[start, end)` and had closed by its end, day by day, within a day cow by cow and in order
    /// of time. Memory does not grow with their number.
    pub fn movement(&self, span: Range<Timestamp>, each: &mut EachBin<'_>) -> Result<()> {
        let cows = names::places(&self.connection, "animal_name")?;
        let mut all = self.connection.prepare_cached(
            "SELECT animal, \"from\", minutes, activity, rumination_min, eating_min, lying_min, steps FROM movement
             WHERE day BETWEEN ?1 AND ?2 AND ?3 <= \"from\" AND \"from\" + CAST(minutes * 60000 AS INTEGER) <= ?4
             ORDER BY day, animal, \"from\"",
        )?;
        let (from, to) = (span.start.as_millisecond(), span.end.as_millisecond());
        let mut rows = all.query(params![day_of(from), day_of(to), from, to])?;
        while let Some(row) = rows.next()? {
            let id: i64 = row.get(0)?;
            let cow = cows.get(id as usize).copied().unwrap_or(u32::MAX);
            let bin = Bin {
                from: cells::instant(row.get(1)?, "from")?,
                minutes: row.get(2)?,
                activity: row.get(3)?,
                rumination_min: row.get(4)?,
                eating_min: row.get(5)?,
                lying_min: row.get(6)?,
                steps: row.get(7)?,
            };
            if each(cow, &bin).is_break() {
                return Ok(());
            }
        }
        Ok(())
    }
}

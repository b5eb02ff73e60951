//! Which visits of a cow stand, when she cannot have been in two boxes at once?
//!
//! # Rule
//! Of visits of one cow that overlap the one with the earlier start stands (of equal starts, the box whose name comes
//! first); the others are set aside: kept, named in the quarantine, read by no model. In order of start: a visit stands
//! if it begins no earlier than the last standing one ended. Ends that touch do not overlap. A visit of no length holds
//! its one millisecond.
//! # Why it does not depend on the order of files
//! All visits are kept, standing or not, and the rule is a function of that set. It falls apart into clusters: runs of
//! visits joined by overlaps. What a new row can change is its own cluster, so only that one is looked at again. A visit
//! lasts at most six hours (the table's own rule), so the cluster's beginning is found by looking back so far.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension, Statement, params};

use crate::{
    batch::Batch,
    cells,
    error::Result,
    layout::{DAY_MS, day_of},
};

mod told;
pub(crate) use told::{aside, list};

/// Longest visit the table allows, ms, and one more.
pub(crate) const LONGEST_MS: i64 = 6 * 3_600_000 + 1;

/// First instant after a visit.
pub(crate) fn free_from(started_ms: i64, ended_ms: i64) -> i64 {
    ended_ms.max(started_ms + 1)
}

/// Two spans of a cow's time known to hold no visit: (free from, next start).
#[derive(Debug, Clone, Copy)]
struct Gaps {
    before: (i64, i64),
    after: (i64, i64),
}

/// Spans of a cow's time in which visits came or changed and may overlap.
pub(crate) type Touched = BTreeMap<i64, Vec<(i64, i64)>>;

/// What is known of each cow's time while a batch runs. Rows in order of time, either way, need one question a cow; rows
/// that fill a hole in an older log one a cow and day.
pub(crate) struct Stays<'a> {
    connection: &'a Connection,
    gaps: Vec<Option<Gaps>>,
    /// Start of each cow's first and last visit.
    spans: BTreeMap<i64, (i64, i64)>,
    touched: Touched,
    earlier: Statement<'a>,
    later: Statement<'a>,
}

impl<'a> Stays<'a> {
    pub fn new(connection: &'a Connection) -> Result<Stays<'a>> {
        let mut known = connection
            .prepare("SELECT id, first_visit, last_visit FROM animal_name WHERE first_visit IS NOT NULL")?;
        let spans = known
            .query_map([], |row| Ok((row.get(0)?, (row.get(1)?, row.get(2)?))))?
            .collect::<rusqlite::Result<_>>()?;
        Ok(Stays {
            connection,
            gaps: Vec::new(),
            spans,
            touched: BTreeMap::new(),
            earlier: connection.prepare(
                "SELECT started_at, ended_at, box FROM visits
                 WHERE day IN (?4, ?5) AND animal = ?1 AND started_at BETWEEN ?2 AND ?3",
            )?,
            later: connection.prepare(
                "SELECT min(started_at) FROM visits WHERE day IN (?3, ?4) AND animal = ?1 AND ?2 < started_at",
            )?,
        })
    }

    /// A visit was put in.
    pub fn came(&mut self, cow: i64, milking_box: i64, started_ms: i64, ended_ms: i64) -> Result<()> {
        let free = free_from(started_ms, ended_ms);
        let place = cow as usize;
        if self.gaps.len() <= place {
            self.gaps.resize(place + 1, None);
        }
        let fits = |gap: (i64, i64)| gap.0 <= started_ms && free <= gap.1;
        let known =
            self.gaps[place].and_then(|gaps| [gaps.after, gaps.before].into_iter().find(|gap| fits(*gap)));
        let gap = match known {
            Some(gap) => gap,
            None => self.ask(cow, milking_box, started_ms)?,
        };
        if fits(gap) {
            self.gaps[place] = Some(Gaps { before: (gap.0, started_ms), after: (free, gap.1) });
        } else {
            self.gaps[place] = None;
            self.touched.entry(cow).or_default().push((started_ms, free));
        }
        let span = self.spans.entry(cow).or_insert((started_ms, started_ms));
        *span = (span.0.min(started_ms), span.1.max(started_ms));
        Ok(())
    }

    /// A visit lasts longer or shorter than before.
    pub fn changed(&mut self, cow: i64, started_ms: i64, last_ended_ms: i64) {
        if let Some(gaps) = self.gaps.get_mut(cow as usize) {
            *gaps = None;
        }
        self.touched.entry(cow).or_default().push((started_ms, free_from(started_ms, last_ended_ms)));
    }

    /// Keeps each cow's span, and gives what must be settled.
    pub fn finish(self) -> Result<Touched> {
        let mut keep = self.connection.prepare(
            "UPDATE animal_name SET first_visit = ?2, last_visit = ?3
             WHERE id = ?1 AND (first_visit IS NULL OR first_visit <> ?2 OR last_visit <> ?3)",
        )?;
        for (cow, (first, last)) in self.spans {
            keep.execute([cow, first, last])?;
        }
        Ok(self.touched)
    }

    /// The span around a start that holds no other visit of hers, as far as a day ahead.
    fn ask(&mut self, cow: i64, milking_box: i64, started_ms: i64) -> Result<(i64, i64)> {
        let Some((first, last)) = self.spans.get(&cow).copied() else { return Ok((i64::MIN, i64::MAX)) };
        if started_ms < first {
            return Ok((i64::MIN, first));
        }
        let from = started_ms - LONGEST_MS;
        let mut free = from;
        if from < last {
            let days = (day_of(from), day_of(started_ms));
            let mut rows = self.earlier.query([cow, from, started_ms, days.0, days.1])?;
            while let Some(row) = rows.next()? {
                let (start, end, other_box): (i64, i64, i64) = (row.get(0)?, row.get(1)?, row.get(2)?);
                if start != started_ms || other_box != milking_box {
                    free = free.max(free_from(start, end));
                }
            }
        }
        if last < started_ms {
            return Ok((free, i64::MAX));
        }
        let day = day_of(started_ms);
        let next: Option<i64> = self.later.query_row([cow, started_ms, day, day + 1], |row| row.get(0))?;
        Ok((free, next.unwrap_or(started_ms + DAY_MS)))
    }
}

/// What settling changed.
#[derive(Debug, Default)]
pub(crate) struct Settled {
    /// Rows of earlier batches that stood.
    pub displaced: u64,
    /// Rows of earlier batches that stand now.
    pub freed: u64,
    /// Earliest end of a visit whose standing changed, ms.
    pub earliest: Option<i64>,
    /// Visits set aside now and not before: (animal, started_at, box).
    pub set_aside: Vec<(i64, i64, i64)>,
}

/// One visit of a cluster.
struct Stay {
    start: i64,
    end: i64,
    milking_box: i64,
    stands: bool,
    batch: i64,
}

/// Applies the rule to every cluster that was touched.
pub(crate) fn settle(connection: &Connection, touched: Touched, batch: i64) -> Result<Settled> {
    let mut settled = Settled::default();
    for (cow, mut spans) in touched {
        spans.sort_unstable();
        let mut done_until = i64::MIN;
        for (from, until) in spans {
            // A cluster already settled reached beyond this span.
            if until <= done_until {
                continue;
            }
            let cluster = cluster(connection, cow, from, until)?;
            done_until = cluster.iter().map(|stay| free_from(stay.start, stay.end)).max().unwrap_or(until);
            apply(connection, cow, &cluster, batch, &mut settled)?;
        }
    }
    Ok(settled)
}

/// All visits of hers in the clusters that meet a span, in the order of the rule.
fn cluster(connection: &Connection, cow: i64, from: i64, until: i64) -> Result<Vec<Stay>> {
    let begin = cluster_begins(connection, cow, from)?;
    let mut on = connection.prepare_cached(
        "SELECT started_at, ended_at, box, stands, batch FROM visits
         WHERE day = ?1 AND animal = ?2 AND ?3 <= started_at
         ORDER BY started_at, (SELECT name FROM box_name WHERE id = box)",
    )?;
    let mut cluster: Vec<Stay> = Vec::new();
    let mut reach = until;
    let mut day = day_of(begin);
    while day <= day_of(reach) {
        let mut rows = on.query([day, cow, begin])?;
        while let Some(row) = rows.next()? {
            let stands: i64 = row.get(3)?;
            let stay = Stay {
                start: row.get(0)?,
                end: row.get(1)?,
                milking_box: row.get(2)?,
                stands: stands != 0,
                batch: row.get(4)?,
            };
            if reach <= stay.start {
                return Ok(cluster);
            }
            reach = reach.max(free_from(stay.start, stay.end));
            cluster.push(stay);
        }
        day += 1;
    }
    Ok(cluster)
}

/// The start before which no visit of hers reaches into the cluster.
fn cluster_begins(connection: &Connection, cow: i64, from: i64) -> Result<i64> {
    let mut back = connection.prepare_cached(
        "SELECT started_at, ended_at FROM visits
         WHERE day IN (?4, ?5) AND animal = ?1 AND ?2 < started_at AND started_at < ?3",
    )?;
    let mut begin = from;
    loop {
        let earliest = begin - LONGEST_MS;
        let mut first = begin;
        let mut rows = back.query([cow, earliest, begin, day_of(earliest), day_of(begin)])?;
        while let Some(row) = rows.next()? {
            let (start, end): (i64, i64) = (row.get(0)?, row.get(1)?);
            if begin < free_from(start, end) {
                first = first.min(start);
            }
        }
        if first == begin {
            return Ok(begin);
        }
        begin = first;
    }
}

fn apply(
    connection: &Connection,
    cow: i64,
    cluster: &[Stay],
    batch: i64,
    settled: &mut Settled,
) -> Result<()> {
    let mut free = i64::MIN;
    for stay in cluster {
        let stands = free <= stay.start;
        if stands {
            free = free_from(stay.start, stay.end);
        }
        if stands == stay.stands {
            continue;
        }
        connection
            .prepare_cached(
                "UPDATE visits SET stands = ?5 WHERE day = ?1 AND animal = ?2 AND started_at = ?3 AND box = ?4",
            )?
            .execute([day_of(stay.start), cow, stay.start, stay.milking_box, i64::from(stands)])?;
        settled.earliest = Some(settled.earliest.map_or(stay.end, |earliest| earliest.min(stay.end)));
        if !stands && settled.set_aside.len() < crate::Finished::MOST {
            settled.set_aside.push((cow, stay.start, stay.milking_box));
        }
        if stay.batch != batch {
            if stands { settled.freed += 1 } else { settled.displaced += 1 }
        }
    }
    Ok(())
}

/// Counts the rows of a batch again, now that it is known which of them stand; gives those that were known before, were
/// read again and are set aside still.
pub(crate) fn recount(batch: &mut Batch<'_>) -> Result<Vec<(i64, i64, i64)>> {
    let mut still_aside = Vec::new();
    let mut stands = batch.connection.prepare_cached(
        "SELECT stands FROM visits WHERE day = ?1 AND animal = ?2 AND started_at = ?3 AND box = ?4",
    )?;
    for (cow, started_ms, milking_box) in std::mem::take(&mut batch.aside_again) {
        let now: Option<i64> = stands
            .query_row([day_of(started_ms), cow, started_ms, milking_box], |row| row.get(0))
            .optional()?;
        // One that is not there any more was taken back by the same file.
        if now != Some(0) {
            batch.tally.same += 1;
            continue;
        }
        batch.tally.overlapping += 1;
        if still_aside.len() < crate::Finished::MOST {
            still_aside.push((cow, started_ms, milking_box));
        }
    }
    let mut own = batch.connection.prepare_cached(
        "SELECT (SELECT name FROM animal_name WHERE id = animal), (SELECT name FROM box_name WHERE id = box), started_at
         FROM visits WHERE stands = 0 AND batch = ?1",
    )?;
    let mut replaced = batch.connection.prepare_cached(
        "SELECT EXISTS (SELECT 1 FROM history WHERE table_name = 'visits' AND row_key = ?1 AND replaced_by = ?2)",
    )?;
    let mut rows = own.query([batch.id])?;
    while let Some(row) = rows.next()? {
        let (animal, name, started_ms): (String, String, i64) = (row.get(0)?, row.get(1)?, row.get(2)?);
        let key = format!("{animal}\u{1f}{name}\u{1f}{}", cells::instant(started_ms, "started_at")?);
        let was_replaced: bool = replaced.query_row(params![key, batch.id], |row| row.get(0))?;
        let counted = if was_replaced { &mut batch.tally.replaced } else { &mut batch.tally.new };
        *counted = counted.saturating_sub(1);
        batch.tally.overlapping += 1;
    }
    Ok(still_aside)
}

//! Visits out of the file, in order of time: the whole herd's, streamed, or one cow's.
//!
//! The file holds visits day by day and within a day cow by cow: the herd's whole log is read front to back and put in
//! order a day at a time, and a cow's own days are a page each. Only columns that some batch ever filled are asked for: a log without scales costs no weights.

use std::ops::{ControlFlow, Range};

use cowpath_core::{
    herd::{BoxKey, LifeKey},
    tables::{Destination, Outcome, TABLES, Table, Visit},
};
use jiff::{SignedDuration, Timestamp};
use rusqlite::{Row, params, types::ValueRef};

use crate::{
    cells::instant,
    error::{Result, StoreError},
    farm::{Farm, count},
    layout::{Layout, day_of},
    names,
};

/// What is called with each visit: the place of her herd number in [`Farm::numbers`], and the visit. Its `life` is
/// `LifeKey(u32::MAX)`: whose life it is, the herd list tells and not the file. That, and columns that were asked for, may be
/// written into: a visit is large, and need not be copied for it.
pub type EachVisit<'f> = dyn FnMut(u32, &mut Visit) -> ControlFlow<()> + 'f;

/// Columns the milk model reads; places in the table.
const MILKING_COLUMNS: Range<usize> = 5..31;
/// Columns left out of them: seconds and flows of the quarters.
const MILKING_LEAVES: Range<usize> = 11..23;

/// Of a longer visit nothing is counted by its end.
const LONGEST_COUNTED: SignedDuration = SignedDuration::from_hours(6);

/// Whose a visit is before the herd list was asked.
const NOBODY: LifeKey = LifeKey(u32::MAX);

const COLUMNS: usize = 45;
/// A column that is not asked for.
const ABSENT: usize = usize::MAX;

fn is_of_milking(column: usize) -> bool {
    MILKING_COLUMNS.contains(&column) && !MILKING_LEAVES.contains(&column)
}

/// All but seconds, peaks and take-off of the quarters.
fn is_of_sensors(column: usize) -> bool {
    !(11..15).contains(&column) && !(19..23).contains(&column) && !(31..35).contains(&column)
}

/// Outcome, milk of the udder and its quarters, concentrate offered and eaten.
fn is_of_coming(column: usize) -> bool {
    (5..11).contains(&column) || (41..43).contains(&column)
}

/// Outcome, milk of the udder and its quarters, concentrate, where the milk went.
fn is_of_boxes(column: usize) -> bool {
    (5..11).contains(&column) || (41..43).contains(&column) || column == 44
}

/// First cup, outcome, milk of the udder; of the quarters milk, seconds, flows, take-off.
fn is_of_minutes(column: usize) -> bool {
    (4..23).contains(&column) || (31..35).contains(&column)
}

/// Which columns are asked for, and where each of them stands in the answer.
struct Wanted {
    sql: String,
    place: [usize; COLUMNS],
    /// Further conditions of the rows.
    only: &'static str,
}

/// Who was turned away or only fed tells nothing of milk; that is a third of all visits. No outcome tells nothing of itself.
const MAY_TELL_OF_MILK: &str = "AND outcome IS NOT 'turned-away' AND outcome IS NOT 'fed'";

impl Farm {
    /// All standing visits that began in `[start, end)`, in order of start, then herd number, then box. Memory does not
    /// grow with their number.
    pub fn visits(&self, span: Range<Timestamp>, each: &mut EachVisit<'_>) -> Result<()> {
        self.stream(span, &self.wanted(|_| true)?, each)
    }

    /// Like [`Farm::visits`], with the columns of the milk model only: entry, exit, outcome, milk of udder and quarters,
    /// conductivity, kicks. The others are `None`, and visits turned away or for feed alone are left out.
    pub fn milkings(&self, span: Range<Timestamp>, each: &mut EachVisit<'_>) -> Result<()> {
        self.stream(span, &Wanted { only: MAY_TELL_OF_MILK, ..self.wanted(is_of_milking)? }, each)
    }

    /// Like [`Farm::visits`], with the columns only that tell of cow and sensors: all but the quarters' seconds, peaks and
    /// take-off. These are `None`.
    pub fn measured_visits(&self, span: Range<Timestamp>, each: &mut EachVisit<'_>) -> Result<()> {
        self.stream(span, &self.wanted(is_of_sensors)?, each)
    }

    /// Like [`Farm::visits`], with the columns of who comes when only: entry, exit, outcome, milk of udder and quarters,
    /// feed. The others are `None`.
    pub fn comings(&self, span: Range<Timestamp>, each: &mut EachVisit<'_>) -> Result<()> {
        self.stream(span, &self.wanted(is_of_coming)?, each)
    }

    /// Like [`Farm::visits`], with the columns that tell of the boxes only: entry, exit, outcome, milk of udder
    /// and quarters, feed, destination. The others are `None`.
    pub fn box_visits(&self, span: Range<Timestamp>, each: &mut EachVisit<'_>) -> Result<()> {
        self.stream(span, &self.wanted(is_of_boxes)?, each)
    }

    /// Like [`Farm::visits`], with the columns that tell what box time went for only: entry, exit, first cup, outcome, milk
    /// of udder and quarters, the quarters' seconds, flows and take-off. The others are `None`.
    pub fn minute_visits(&self, span: Range<Timestamp>, each: &mut EachVisit<'_>) -> Result<()> {
        self.stream(span, &self.wanted(is_of_minutes)?, each)
    }

    /// One cow's of these.
    pub fn comings_of(&self, animal: &str, span: Range<Timestamp>) -> Result<Vec<Visit>> {
        self.of_cow(animal, span, &self.wanted(is_of_coming)?)
    }

    /// One cow's standing visits that began in `[start, end)`, in order of start, then box.
    pub fn visits_of(&self, animal: &str, span: Range<Timestamp>) -> Result<Vec<Visit>> {
        self.of_cow(animal, span, &self.wanted(|_| true)?)
    }

    fn of_cow(&self, animal: &str, span: Range<Timestamp>, wanted: &Wanted) -> Result<Vec<Visit>> {
        let boxes = names::places(&self.connection, "box_name")?;
        let (first_day, last_day) = self.days_of(&Layout::of(TABLES[0]), &span)?;
        let select = format!(
            "WITH RECURSIVE d (day) AS (VALUES (?4) UNION ALL SELECT day + 1 FROM d WHERE day < ?5)
             SELECT animal, box, {} FROM d CROSS JOIN visits USING (day)
             WHERE animal = (SELECT id FROM animal_name WHERE name = ?1) AND ?2 <= started_at AND started_at < ?3
               AND stands = 1 {}",
            wanted.sql, wanted.only
        );
        let mut statement = self.connection.prepare_cached(&select)?;
        let ends = [span.start.as_millisecond(), span.end.as_millisecond()];
        let mut rows = statement.query(params![animal, ends[0], ends[1], first_day, last_day])?;
        let mut visits = Vec::new();
        while let Some(row) = rows.next()? {
            let mut visit = blank();
            decode(row, wanted, &boxes, &mut visit)?;
            visits.push(visit);
        }
        visits.sort_by_key(|visit| (visit.started_at, visit.at_box));
        Ok(visits)
    }

    /// One herd number's standing visits that began in `[start, end)`, in order of start, with the columns of the milk
    /// model only and without those turned away or for feed alone.
    pub fn milkings_of(
        &self,
        animal: &str,
        span: Range<Timestamp>,
        each: &mut dyn FnMut(&Visit),
    ) -> Result<()> {
        let wanted = Wanted { only: MAY_TELL_OF_MILK, ..self.wanted(is_of_milking)? };
        let visits = self.of_cow(animal, span, &wanted)?;
        visits.iter().for_each(each);
        Ok(())
    }

    /// For every herd number, in the order of [`Farm::numbers`]: the number, and how many visits of it began in
    /// `[start, end)`, standing or not.
    pub fn visit_counts(&self, span: Range<Timestamp>) -> Result<Vec<(String, u64)>> {
        let (first_day, last_day) = self.days_of(&Layout::of(TABLES[0]), &span)?;
        let mut statement = self.connection.prepare_cached(
            "SELECT name, coalesce(visits, 0) FROM animal_name LEFT JOIN
             (SELECT animal, count(*) AS visits FROM visits
              WHERE day BETWEEN ?3 AND ?4 AND ?1 <= started_at AND started_at < ?2 GROUP BY animal) ON animal = id
             ORDER BY name",
        )?;
        let ends = [span.start.as_millisecond(), span.end.as_millisecond()];
        let mut rows = statement.query([ends[0], ends[1], first_day, last_day])?;
        let mut counts = Vec::new();
        while let Some(row) = rows.next()? {
            counts.push((row.get(0)?, count(row.get(1)?, "visits of a herd number")?));
        }
        Ok(counts)
    }

    /// How many standing visits ended after one time and by another that say something of milk: milked, not milked out or
    /// failed, or of no stated outcome and with milk of the udder or of all four quarters. Visits of more than six hours
    /// may be left out.
    pub fn milkings_ended(&self, after: Timestamp, by: Timestamp) -> Result<u64> {
        let begun = after.saturating_sub(LONGEST_COUNTED).unwrap_or(Timestamp::MIN);
        let mut statement = self.connection.prepare_cached(
            "SELECT count(*) FROM visits WHERE day BETWEEN ?3 AND ?4 AND ?1 < ended_at AND ended_at <= ?2 AND stands = 1
             AND CASE outcome WHEN 'milked' THEN 1 WHEN 'incomplete' THEN 1 WHEN 'failed' THEN 1
                      WHEN 'turned-away' THEN 0 WHEN 'fed' THEN 0
                      ELSE coalesce(milk_kg, lf_kg + rf_kg + lr_kg + rr_kg) IS NOT NULL END",
        )?;
        let ends = [after.as_millisecond(), by.as_millisecond()];
        let days = [day_of(begun.as_millisecond()), day_of(ends[1])];
        count(
            statement.query_row([ends[0], ends[1], days[0], days[1]], |row| row.get(0))?,
            "milkings of a span",
        )
    }

    fn stream(&self, span: Range<Timestamp>, wanted: &Wanted, each: &mut EachVisit<'_>) -> Result<()> {
        let cows = names::places(&self.connection, "animal_name")?;
        let boxes = names::places(&self.connection, "box_name")?;
        let (first_day, last_day) = self.days_of(&Layout::of(TABLES[0]), &span)?;
        let select = format!(
            "SELECT animal, box, {} FROM visits
             WHERE day BETWEEN ?3 AND ?4 AND ?1 <= started_at AND started_at < ?2 AND stands = 1 {} ORDER BY day",
            wanted.sql, wanted.only
        );
        let mut statement = self.connection.prepare_cached(&select)?;
        let mut rows =
            statement.query([span.start.as_millisecond(), span.end.as_millisecond(), first_day, last_day])?;
        let mut day = Day::default();
        while let Some(row) = rows.next()? {
            let id: i64 = row.get(0)?;
            let cow = cows.get(id as usize).copied().unwrap_or(u32::MAX);
            let at: i64 = row.get(2)?;
            if day.number != day_of(at) {
                if day.hand_on(each).is_break() {
                    return Ok(());
                }
                day.number = day_of(at);
            }
            let place = day.order.len();
            if place == day.visits.len() {
                day.visits.push(blank());
            }
            // Written where it stays: a visit is large, and a log has millions.
            let visit = &mut day.visits[place];
            decode(row, wanted, &boxes, visit)?;
            day.order.push((at, cow, visit.at_box.0, place));
        }
        let _ = day.hand_on(each);
        Ok(())
    }

    fn wanted(&self, wants: impl Fn(usize) -> bool) -> Result<Wanted> {
        let filled = self.filled_columns(TABLES[0])?;
        let mut wanted = Wanted { sql: "started_at, ended_at".into(), place: [ABSENT; COLUMNS], only: "" };
        let asked = (4..COLUMNS).filter(|column| wants(*column) && filled[*column]);
        for (place, column) in (4..).zip(asked) {
            wanted.sql += &format!(", {}", TABLES[0].columns[column].name);
            wanted.place[column] = place;
        }
        Ok(wanted)
    }

    /// Columns of a table, in its order, in which any batch ever brought a value; the others are empty in every row.
    pub fn filled_columns(&self, table: &Table) -> Result<Vec<bool>> {
        let mut filled = vec![false; table.columns.len()];
        let mut lists = self
            .connection
            .prepare_cached("SELECT DISTINCT columns_filled FROM batch WHERE table_name = ?1")?;
        let mut rows = lists.query([table.name])?;
        while let Some(row) = rows.next()? {
            let list: String = row.get(0)?;
            for place in list.split(',').filter_map(|name| table.index(name)) {
                filled[place] = true;
            }
        }
        Ok(filled)
    }
}

/// The visits of one day, which lie cow by cow in the file and are handed on in order of time.
#[derive(Default)]
struct Day {
    number: i64,
    /// As many of them as `order` has; the others are of days before, and are written over.
    visits: Vec<Visit>,
    /// Start, place of the herd number, box, place in `visits`.
    order: Vec<(i64, u32, u16, usize)>,
}

impl Day {
    fn hand_on(&mut self, each: &mut EachVisit<'_>) -> ControlFlow<()> {
        self.order.sort_unstable();
        for (_, cow, _, place) in &self.order {
            each(*cow, &mut self.visits[*place])?;
        }
        self.order.clear();
        ControlFlow::Continue(())
    }
}

/// A visit of which nothing is known.
fn blank() -> Visit {
    Visit::stay(NOBODY, BoxKey(0), Timestamp::UNIX_EPOCH, Timestamp::UNIX_EPOCH)
}

/// Writes the columns asked for over a visit's; the others stay as they are.
fn decode(row: &Row<'_>, wanted: &Wanted, boxes: &[u32], visit: &mut Visit) -> Result<()> {
    let id: i64 = row.get(1)?;
    visit.at_box =
        boxes.get(id as usize).and_then(|place| u16::try_from(*place).ok()).map(BoxKey).ok_or_else(|| {
            StoreError::Stored { what: "box", detail: format!("there is no name for box {id}") }
        })?;
    visit.life = NOBODY;
    visit.started_at = instant(row.get(2)?, "started_at")?;
    visit.ended_at = instant(row.get(3)?, "ended_at")?;
    if wanted.place[4] != ABSENT {
        visit.attached_at = match row.get_ref(wanted.place[4])? {
            ValueRef::Integer(ms) => Some(instant(ms, "attached_at")?),
            _ => None,
        };
    }
    if wanted.place[5] != ABSENT {
        visit.outcome = word(row, wanted.place[5])?.and_then(Outcome::from_word);
    }
    if wanted.place[44] != ABSENT {
        visit.destination = word(row, wanted.place[44])?.and_then(Destination::from_word);
    }
    let figure = |column: usize, into: &mut Option<f64>| -> Result<()> {
        if wanted.place[column] != ABSENT {
            *into = if let ValueRef::Real(figure) = row.get_ref(wanted.place[column])? {
                Some(figure)
            } else {
                None
            };
        }
        Ok(())
    };
    figure(6, &mut visit.milk_kg)?;
    for (place, quarter) in visit.quarters.iter_mut().enumerate() {
        figure(7 + place, &mut quarter.milk_kg)?;
        figure(11 + place, &mut quarter.flow_s)?;
        figure(15 + place, &mut quarter.flow_kg_min)?;
        figure(19 + place, &mut quarter.peak_kg_min)?;
        figure(23 + place, &mut quarter.ms_cm)?;
        if wanted.place[27 + place] != ABSENT {
            quarter.kicked = match row.get_ref(wanted.place[27 + place])? {
                ValueRef::Integer(flag) => Some(flag != 0),
                _ => None,
            };
        }
        figure(31 + place, &mut quarter.takeoff_kg_min)?;
    }
    let rest = [
        &mut visit.blood_ppm,
        &mut visit.milk_c,
        &mut visit.fat_pct,
        &mut visit.protein_pct,
        &mut visit.lactose_pct,
        &mut visit.scc_k,
        &mut visit.feed_offered_kg,
        &mut visit.feed_eaten_kg,
        &mut visit.weight_kg,
    ];
    for (column, into) in (35..).zip(rest) {
        figure(column, into)?;
    }
    Ok(())
}

fn word<'r>(row: &'r Row<'_>, place: usize) -> Result<Option<&'r str>> {
    Ok(if let ValueRef::Text(word) = row.get_ref(place)? { std::str::from_utf8(word).ok() } else { None })
}

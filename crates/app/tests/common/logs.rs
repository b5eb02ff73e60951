//! A simulated herd's logs as rows of words, to be shuffled, cut at a time and robbed of columns.
#![allow(dead_code, clippy::unwrap_used, clippy::expect_used)]

use std::path::Path;

use cowpath_herdsim::Scenario;
use jiff::Timestamp;

/// One table's log.
#[derive(Debug, Clone)]
pub struct Log {
    pub table: String,
    pub header: Vec<String>,
    pub rows: Vec<Vec<String>>,
}

/// The logs of a simulated herd that ends on 2 March 2026 at 05:20 in New York.
pub fn herd(cows: u32, boxes: u32, days: u32, clock_jumps: bool) -> Vec<Log> {
    let dir = tempfile::tempdir().unwrap();
    let scenario = Scenario { clock_jumps, ..Scenario::demo(cows, boxes, days, 11) };
    cowpath_herdsim::write(&scenario, dir.path(), None).unwrap();
    read_logs(dir.path())
}

/// Every CSV file of a folder, by name.
pub fn read_logs(dir: &Path) -> Vec<Log> {
    let mut files: Vec<_> = std::fs::read_dir(dir).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files.retain(|file| file.extension().is_some_and(|ending| ending == "csv"));
    files
        .iter()
        .map(|file| {
            let mut reader = csv::Reader::from_path(file).unwrap();
            Log {
                table: file.file_stem().unwrap().to_str().unwrap().to_owned(),
                header: reader.headers().unwrap().iter().map(str::to_owned).collect(),
                rows: reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect(),
            }
        })
        .collect()
}

impl Log {
    pub fn text(&self) -> Vec<u8> {
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(&self.header).unwrap();
        for row in &self.rows {
            writer.write_record(row).unwrap();
        }
        writer.into_inner().unwrap()
    }

    fn cell<'r>(&self, row: &'r [String], column: &str) -> &'r str {
        let place = self.header.iter().position(|own| own == column).unwrap();
        &row[place]
    }

    /// When a row is known: the end of a visit, bin or box's state, the time of an event. `None`: always.
    fn known_at(&self, row: &[String]) -> Option<Timestamp> {
        let time = |column: &str| self.cell(row, column).parse::<Timestamp>().unwrap();
        Some(match self.table.as_str() {
            "visits" => time("ended_at"),
            "movement" => {
                let minutes: f64 = self.cell(row, "minutes").parse().unwrap();
                time("from") + jiff::SignedDuration::from_millis((minutes * 60_000.0) as i64)
            }
            "events" | "pushes" => time("at"),
            "pickups" => time("collected_at"),
            "box-states" => time("to"),
            "bunk" => time("delivered_at"),
            // A recording of a day is known when the day is over, wherever the farm is.
            "recordings" => format!("{}T23:59:59-12:00", self.cell(row, "on")).parse().unwrap(),
            _ => return None,
        })
    }

    /// The rows that were known at a time.
    pub fn known_by(&self, at: Timestamp) -> Log {
        let rows = self.rows.iter().filter(|row| self.known_at(row).is_none_or(|known| known <= at)).cloned();
        Log { rows: rows.collect(), ..self.clone() }
    }

    /// The rows that were not yet known at a time.
    pub fn without(&self, at: &str) -> Log {
        let at: Timestamp = at.parse().unwrap();
        let rows = self.rows.iter().filter(|row| self.known_at(row).is_none_or(|known| at < known)).cloned();
        Log { rows: rows.collect(), ..self.clone() }
    }

    /// Adds visits that cannot have been: the same cow elsewhere from a minute before, or a minute after, she went in; and
    /// rows whose milk is none.
    pub fn haunt(&mut self) {
        let place = |column: &str| self.header.iter().position(|own| own == column).unwrap();
        let (at_box, start, end, milk) =
            (place("box"), place("started_at"), place("ended_at"), place("milk_kg"));
        let shifted = |cell: &str, seconds: i64| {
            let at: Timestamp = cell.parse().unwrap();
            (at + jiff::SignedDuration::from_secs(seconds)).to_string()
        };
        let mut added = Vec::new();
        for (number, row) in self.rows.iter().enumerate() {
            let mut ghost = row.clone();
            ghost[at_box] = "ghost".into();
            if number % 17 == 0 {
                ghost[start] = shifted(&row[start], if number % 34 == 0 { -60 } else { 60 });
                ghost[end] = shifted(&row[end], 120);
                added.push(ghost.clone());
            }
            // Three in a row: the third stands only because the second does not.
            if number % 51 == 0 {
                ghost[start] = shifted(&row[end], 60);
                ghost[end] = shifted(&row[end], 300);
                added.push(ghost.clone());
            }
            if number % 83 == 0 {
                ghost[milk] = format!("-{number}");
                added.push(ghost);
            }
        }
        self.rows.extend(added);
    }

    /// A cow that is being milked on a day, and a time at which she stands in the box.
    pub fn amid_a_milking(&self, day: &str) -> (String, String) {
        let row = self
            .rows
            .iter()
            .find(|row| {
                self.cell(row, "outcome") == "milked" && self.cell(row, "started_at").starts_with(day)
            })
            .unwrap();
        let start: Timestamp = self.cell(row, "started_at").parse().unwrap();
        let at = start + jiff::SignedDuration::from_secs(61);
        assert!(at < self.cell(row, "ended_at").parse().unwrap());
        (self.cell(row, "animal").to_owned(), at.to_string())
    }

    /// Without some columns.
    pub fn without_columns(&self, drop: &dyn Fn(&str) -> bool) -> Log {
        let stays: Vec<bool> = self.header.iter().map(|column| !drop(column)).collect();
        assert!(stays.contains(&false), "there was nothing to drop");
        let keep = |row: &[String]| {
            row.iter().zip(&stays).filter(|(_, stays)| **stays).map(|(cell, _)| cell.clone()).collect()
        };
        Log {
            table: self.table.clone(),
            header: keep(&self.header),
            rows: self.rows.iter().map(|row| keep(row)).collect(),
        }
    }

    /// With every so-many-th cell of some columns empty.
    pub fn with_holes(&self, every: usize, of: &dyn Fn(&str) -> bool) -> Log {
        let mut log = self.clone();
        let mut count = 0;
        for row in &mut log.rows {
            for (cell, column) in row.iter_mut().zip(&self.header) {
                count += usize::from(of(column));
                if of(column) && count % every == 0 {
                    cell.clear();
                }
            }
        }
        log
    }
}

/// Orders that hang on a seed alone: a multiplicative generator with Knuth's multiplier (MMIX).
pub struct Shuffle(pub u64);

impl Shuffle {
    pub fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as usize) % end
    }

    pub fn order<T>(&mut self, things: &mut [T]) {
        for last in (1..things.len()).rev() {
            let other = self.below(last + 1);
            things.swap(last, other);
        }
    }
}

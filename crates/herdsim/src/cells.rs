//! How is one cell written?

use std::io::Write as _;

use crate::{
    clock::{FarmClock, write_date},
    rows::{QUARTERS, Row},
};

/// A line under way: cells in the table's order, those of sensors not fitted left out.
pub struct Line<'a> {
    out: &'a mut Vec<u8>,
    clock: &'a FarmClock,
    shown: &'a [bool],
    at: usize,
    begun: bool,
}

impl<'a> Line<'a> {
    /// An empty line.
    pub fn new(out: &'a mut Vec<u8>, clock: &'a FarmClock, shown: &'a [bool]) -> Line<'a> {
        Line { out, clock, shown, at: 0, begun: false }
    }

    /// Begins the next cell; false where its column is not shown.
    fn next(&mut self) -> bool {
        let shown = self.shown.get(self.at).copied().unwrap_or(true);
        self.at += 1;
        if shown {
            if self.begun {
                self.out.push(b',');
            }
            self.begun = true;
        }
        shown
    }

    /// Words; our own never hold a comma or quote.
    pub fn text(&mut self, text: &str) {
        if self.next() {
            self.out.extend_from_slice(text.as_bytes());
        }
    }

    /// A whole number.
    pub fn whole(&mut self, number: u32) {
        if self.next() {
            let _ = write!(self.out, "{number}");
        }
    }

    /// A figure with so many decimals; `None` is an empty cell.
    pub fn number(&mut self, figure: Option<f64>, decimals: u32) {
        if !self.next() {
            return;
        }
        let Some(figure) = figure else { return };
        let scale = 10_i64.pow(decimals);
        let scaled = (figure * scale as f64).round() as i64;
        if scaled < 0 {
            self.out.push(b'-');
        }
        let scaled = scaled.abs();
        let _ = write!(self.out, "{}", scaled / scale);
        if 0 < decimals {
            let _ = write!(self.out, ".{:0width$}", scaled % scale, width = decimals as usize);
        }
    }

    /// An instant.
    pub fn time(&mut self, at_s: Option<i64>) {
        if self.next()
            && let Some(at_s) = at_s
        {
            self.clock.write_time(at_s, self.out);
        }
    }

    /// A day.
    pub fn date(&mut self, day: i32) {
        if self.next() {
            write_date(day, self.out);
        }
    }

    /// A quarter.
    pub fn quarter(&mut self, quarter: Option<usize>) {
        self.text(quarter.and_then(|place| QUARTERS.get(place)).copied().unwrap_or(""));
    }
}

/// Writes a row of truth; rows of logs are not its matter.
pub fn write_truth(row: &Row, line: &mut Line<'_>) {
    match row {
        Row::Case(row) => {
            line.whole(row.case);
            line.whole(row.animal);
            line.text(row.kind);
            line.text(row.form);
            line.quarter(row.quarter);
            line.time(Some(row.began_s));
            line.time(Some(row.first_sign_s));
            line.time(row.noticed_s);
            line.time(row.treated_s);
            line.time(row.ended_s);
            line.number(Some(row.severity), 3);
            line.number(Some(f64::from(row.clinical)), 0);
            line.number(Some(row.conductivity_rise_ms_cm), 2);
            line.number(Some(100.0 * row.milk_loss), 1);
        }
        Row::Day(row) => {
            line.whole(row.animal);
            line.date(row.day);
            line.number(Some(f64::from(row.dim)), 0);
            line.number(Some(row.potential_kg), 2);
            line.number(Some(row.secreted_kg), 2);
            line.number(Some(100.0 * row.loss), 1);
            for share in row.shares {
                line.number(Some(share), 4);
            }
            line.number(Some(row.herd_factor), 4);
        }
        Row::BoxFault(row) => {
            line.whole(row.at_box);
            line.text(row.kind);
            line.quarter(row.quarter);
            line.text(row.form);
            line.time(Some(row.from_s));
            line.time(Some(row.full_s));
            line.time(Some(row.to_s));
            line.number(Some(row.size), 3);
        }
        Row::Happening(row) => {
            line.text(row.kind);
            line.number(row.animal.map(f64::from), 0);
            line.number(row.at_box.map(f64::from), 0);
            line.quarter(row.quarter);
            line.time(Some(row.from_s));
            line.time(Some(row.to_s));
            line.number(row.size, 3);
        }
        Row::Brought(row) => {
            line.whole(row.animal);
            line.time(Some(row.at_s));
        }
        _ => {}
    }
}

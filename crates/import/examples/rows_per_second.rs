//! How fast visits are read: prints rows a second of a generated file, plain and in another form with its map, or of the
//! file named; of one that is no plain table first how long the proposal of a map takes.
//!
//! `cargo run --release -p cowpath-import --example rows_per_second -- [ROWS | FILE]`

use std::convert::Infallible;
use std::fmt::Write as _;
use std::path::Path;
use std::sync::Arc;
use std::time::Instant;

use cowpath_core::tables::{Cell, Table};
use cowpath_import::{
    ColumnMap, Counts, Issue, IssueKind, ReadError, Reading, Sink, propose_file, read_bytes, read_file,
    which_table,
};

/// Counts filled cells and drops them.
#[derive(Default)]
struct Drain {
    filled: u64,
    refused: u64,
    issues: u64,
}

impl Sink for Drain {
    type Error = Infallible;
    fn table(&mut self, _: &'static Table, _: &[String]) -> Result<(), Infallible> {
        Ok(())
    }
    fn row(&mut self, _: u64, cells: &mut Vec<Cell>) -> Result<(), Infallible> {
        self.filled += cells.iter().filter(|cell| !cell.is_missing()).count() as u64;
        Ok(())
    }
    fn issue(&mut self, issue: Issue) -> Result<(), Infallible> {
        self.refused += u64::from(issue.kind == IssueKind::RowRefused);
        self.issues += 1;
        Ok(())
    }
}

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let zone = jiff::tz::TimeZone::get("America/New_York")?;
    let reading = Reading::new(zone, "2100-01-01T00:00:00Z".parse()?);
    let asked = std::env::args().nth(1).unwrap_or_else(|| "500000".to_owned());
    if let Ok(rows) = asked.parse::<u64>() {
        for (form, separator) in [("wall times", ' '), ("times with offset", 'T')] {
            let text = generated(rows, separator, &reading.zone);
            report(form, text.len() as u64, |drain| read_bytes(text.as_bytes(), &reading, drain))?;
            let packed = zstd::encode_all(text.as_bytes(), 3)?;
            report("the same, zstd", text.len() as u64, |drain| read_bytes(&packed, &reading, drain))?;
        }
        let text = foreign(&generated(rows, ' ', &reading.zone));
        let mapped =
            Reading { map: Some(Arc::new(ColumnMap::from_toml(&own_map(&text))?)), ..reading.clone() };
        report("semicolons, decimal commas, day first, with a map", text.len() as u64, |drain| {
            read_bytes(text.as_bytes(), &mapped, drain)
        })?;
    } else if which_table(Path::new(&asked), &reading).is_err() {
        let bytes = std::fs::metadata(&asked)?.len();
        let from = Instant::now();
        let proposal = propose_file(Path::new(&asked), "foreign", &reading)?;
        println!(
            "{asked}: {bytes} bytes, map for `{}` proposed in {:.3} s",
            proposal.map.table.name,
            from.elapsed().as_secs_f64()
        );
        let mapped = Reading { map: Some(Arc::new(proposal.map)), ..reading.clone() };
        report(&asked, bytes, |drain| read_file(Path::new(&asked), &mapped, drain, &mut |_| {}))?;
    } else {
        let bytes = std::fs::metadata(&asked)?.len();
        report(&asked, bytes, |drain| read_file(Path::new(&asked), &reading, drain, &mut |_| {}))?;
    }
    Ok(())
}

fn report(
    what: &str,
    bytes: u64,
    read: impl Fn(&mut Drain) -> Result<Counts, ReadError<Infallible>>,
) -> Result<(), ReadError<Infallible>> {
    let mut best_s = f64::INFINITY;
    let mut last = None;
    for _ in 0..5 {
        let mut drain = Drain::default();
        let from = Instant::now();
        let counts = read(&mut drain)?;
        best_s = best_s.min(from.elapsed().as_secs_f64());
        last = Some((counts, drain));
    }
    if let Some((counts, drain)) = last {
        let rows = counts.rows_read as f64;
        println!(
            "{what}: {} rows of `{}`, {} refused, {} issues, {:.1} filled cells a row; best of 5: {:.0} rows/s, {:.0} MB/s",
            counts.rows_read,
            counts.table,
            drain.refused,
            drain.issues,
            drain.filled as f64 / rows,
            rows / best_s,
            bytes as f64 / 1e6 / best_s
        );
    }
    Ok(())
}

/// The same table with semicolons, decimal commas and days first: `2025-01-01 05:30:00` becomes `01.01.2025 05:30:00`.
fn foreign(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for (at, line) in text.lines().enumerate() {
        for (place, cell) in line.split(',').enumerate() {
            if 0 < place {
                out.push(';');
            }
            match cell.split_once(' ') {
                _ if at == 0 => out.push_str(&format!("{cell} x")),
                Some((day, time)) => {
                    let parts: Vec<&str> = day.rsplit('-').collect();
                    out.push_str(&format!("{} {time}", parts.join(".")));
                }
                None => out.push_str(&cell.replace('.', ",")),
            }
        }
        out.push('\n');
    }
    out
}

/// The map of [`foreign`].
fn own_map(text: &str) -> String {
    let mut map = String::from(
        "version = 1\ntable = \"visits\"\nseparator = \";\"\ndecimal = \",\"\norder = \"day-month-year\"\n",
    );
    for word in text.lines().next().unwrap_or_default().split(';') {
        let _ = write!(map, "[[column]]\nfrom = \"{word}\"\nto = \"{}\"\n", word.trim_end_matches(" x"));
    }
    map
}

/// Visits of 180 cows in three boxes, nine minutes apart in each, 32 columns filled; figures run through their ranges.
fn generated(rows: u64, separator: char, zone: &jiff::tz::TimeZone) -> String {
    let offset = jiff::tz::offset(-5);
    let mut text = String::from("animal,box,started_at,ended_at,attached_at,outcome,milk_kg");
    for (stem, unit) in
        [("", "kg"), ("", "s"), ("flow_", "kg_min"), ("peak_", "kg_min"), ("", "ms_cm"), ("kicked", "")]
    {
        for quarter in ["lf", "rf", "lr", "rr"] {
            let _ = write!(text, ",{quarter}_{stem}{unit}");
        }
    }
    text.push_str(",destination\n");
    let from_s = 1_735_700_000_i64;
    for row in 0..rows {
        let at = |after: i64| {
            let stamp = jiff::Timestamp::from_second(from_s + row as i64 * 180 + after).unwrap_or_default();
            if separator == 'T' {
                offset.to_datetime(stamp).strftime("%FT%T-05:00").to_string()
            } else {
                zone.to_datetime(stamp).strftime("%F %T").to_string()
            }
        };
        let r = row as f64;
        let wave = |period: f64| (r / period).fract();
        let _ = write!(
            text,
            "{},{},{},{},{},milked,{:.2}",
            100 + row % 180,
            1 + row % 3,
            at(0),
            at(420),
            at(60),
            8.0 + 8.0 * wave(17.3)
        );
        for (base, span, decimals) in
            [(1.5, 3.0, 3), (120.0, 200.0, 0), (0.8, 1.0, 2), (1.5, 2.0, 2), (4.5, 1.5, 2)]
        {
            for quarter in 0..4 {
                let _ = write!(text, ",{:.decimals$}", base + span * wave(7.7 + f64::from(quarter)));
            }
        }
        text.push_str(",0,0,0,0,tank\n");
    }
    text
}

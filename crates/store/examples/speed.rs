//! How fast the farm's file is, beside the `sqlite3` shell's own `.import` of the same rows in the same run.
//!
//! `cargo run --release -p cowpath-store --example speed [-- ROWS [FOLDER]]`. Rows are made on the fly (31 columns filled, in
//! order of time); what making them costs is shown, so that both ways of reckoning stand there. Nothing is asserted.

use std::{
    io::Write,
    ops::ControlFlow,
    path::Path,
    process::Command,
    time::{Duration, Instant},
};

use cowpath_core::tables::{Cell, TABLES};
use cowpath_store::{Farm, Source};
use jiff::Timestamp;

const BEGIN_MS: i64 = 1_672_531_200_000;
const VISITS_A_DAY: u64 = 4;

type Trouble = Box<dyn std::error::Error>;

/// Columns that are filled: all but the last take-offs, blood and whole-milk contents.
fn filled() -> Vec<usize> {
    (0..31).chain([41, 42, 44]).filter(|column| ![15, 16, 17].contains(column)).collect()
}

/// One visit of a herd of `cows`: a fold of its number, so that the same number gives the same row.
fn make(number: u64, cows: u64, boxes: u64, row: &mut [Cell]) -> Result<(), jiff::Error> {
    let mut state = number.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x1234_5678;
    let mut draw = || {
        state ^= state >> 31;
        state = state.wrapping_mul(0xBF58_476D_1CE4_E5B9);
        state ^= state >> 27;
        (state >> 11) as f64 / (1_u64 << 53) as f64
    };
    let step_ms = 86_400_000 / (cows * VISITS_A_DAY) as i64;
    let start = BEGIN_MS + number as i64 * step_ms + (draw() * step_ms as f64) as i64;
    let set = |cell: &mut Cell, text: &str| match cell {
        Cell::Text(old) => {
            old.clear();
            old.push_str(text);
        }
        other => *other = Cell::Text(text.to_owned()),
    };
    set(&mut row[0], &(1 + number * 7 % cows).to_string());
    set(&mut row[1], &(1 + number % boxes).to_string());
    row[2] = Cell::Time(Timestamp::from_millisecond(start / 1000 * 1000)?);
    row[3] = Cell::Time(Timestamp::from_millisecond(start / 1000 * 1000 + 420_000)?);
    row[4] = Cell::Time(Timestamp::from_millisecond(start / 1000 * 1000 + 90_000)?);
    set(&mut row[5], "milked");
    for column in filled().into_iter().skip(6) {
        row[column] = match column {
            27..=30 => Cell::Flag(draw() < 0.01),
            44 => Cell::Text("tank".into()),
            _ => Cell::Number((draw() * 1200.0).round() / 100.0),
        };
    }
    Ok(())
}

fn take(
    farm: &mut Farm,
    rows: std::ops::Range<u64>,
    cows: u64,
    hash: u8,
) -> Result<(cowpath_store::Sums, Duration), Trouble> {
    let (began, processor) = (Instant::now(), processor_s().0);
    let source = Source {
        file: "visits.csv".into(),
        content: [hash; 32],
        table: TABLES[0],
        zone: "UTC".into(),
        map: String::new(),
        now: Timestamp::from_millisecond(BEGIN_MS)?,
        columns: filled(),
    };
    let mut batch = farm.begin(&source)?;
    let mut row = vec![Cell::Missing; 45];
    for number in rows {
        make(number, cows, cows.div_ceil(60), &mut row)?;
        batch.row(number + 2, &row)?;
    }
    let finished = batch.finish()?;
    println!("                  processor    {:6.2} s", processor_s().0 - processor);
    Ok((finished.sums, began.elapsed()))
}

fn csv(path: &Path, rows: u64, cows: u64) -> Result<(), Trouble> {
    let mut out = std::io::BufWriter::new(std::fs::File::create(path)?);
    let columns = filled();
    let names: Vec<&str> = columns.iter().map(|column| TABLES[0].columns[*column].name).collect();
    writeln!(out, "{}", names.join(","))?;
    let mut row = vec![Cell::Missing; 45];
    for number in 0..rows {
        make(number, cows, cows.div_ceil(60), &mut row)?;
        for (place, column) in columns.iter().enumerate() {
            if place != 0 {
                out.write_all(b",")?;
            }
            match &row[*column] {
                Cell::Missing => {}
                Cell::Text(text) => out.write_all(text.as_bytes())?,
                Cell::Number(figure) => write!(out, "{figure}")?,
                Cell::Time(at) => write!(out, "{at}")?,
                Cell::Date(day) => write!(out, "{day}")?,
                Cell::Flag(flag) => write!(out, "{}", u8::from(*flag))?,
            }
        }
        out.write_all(b"\n")?;
    }
    out.flush()?;
    Ok(())
}

fn shell(folder: &Path, csv: &Path) -> Option<Duration> {
    let file = folder.join("shell.sqlite");
    let (began, processor) = (Instant::now(), processor_s().1);
    let done = Command::new("sqlite3")
        .arg(&file)
        .arg(".mode csv")
        .arg(format!(".import '{}' visits", csv.display()))
        .status()
        .is_ok_and(|status| status.success());
    println!("                  processor    {:6.2} s", processor_s().1 - processor);
    done.then(|| began.elapsed())
}

/// Processor time of this thread and of the processes it started, s, where the system tells it: on a busy machine the
/// fairer measure.
fn processor_s() -> (f64, f64) {
    let own = std::fs::read_to_string("/proc/self/schedstat").unwrap_or_default();
    let own_ns: f64 = own.split_whitespace().next().and_then(|ns| ns.parse().ok()).unwrap_or(f64::NAN);
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let fields: Vec<f64> = (stat.rsplit(')').next().unwrap_or_default().split_whitespace())
        .map(|field| field.parse().unwrap_or(0.0))
        .collect();
    let ticks = |place: usize| fields.get(place).copied().unwrap_or(f64::NAN) / 100.0;
    (own_ns / 1e9, ticks(13) + ticks(14))
}

/// Most memory this process ever had, MB; where the system tells it.
fn peak_mb() -> Option<f64> {
    let status = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = status.lines().find(|line| line.starts_with("VmHWM"))?;
    line.split_whitespace().nth(1)?.parse::<f64>().ok().map(|kb| kb / 1024.0)
}

fn main() -> Result<(), Trouble> {
    let mut words = std::env::args().skip(1);
    let rows: u64 = words.next().map_or(Ok(1_600_000), |word| word.parse())?;
    let place = tempfile::tempdir()?;
    let folder = words.next().map_or(place.path().to_owned(), Into::into);
    let cows = (rows / (VISITS_A_DAY * 1095)).max(10);
    println!("{rows} visits of {cows} cows, {} columns filled", filled().len());

    let began = Instant::now();
    let mut row = vec![Cell::Missing; 45];
    for number in 0..rows {
        make(number, cows, cows.div_ceil(60), &mut row)?;
    }
    std::hint::black_box(&row);
    let making = began.elapsed();
    println!("making the rows alone          {:6.2} s", making.as_secs_f64());

    let mut farm = Farm::create_or_open(&folder, Timestamp::from_millisecond(BEGIN_MS)?)?;
    let (sums, first) = take(&mut farm, 0..rows, cows, 1)?;
    let own = |span: Duration| span.saturating_sub(making).as_secs_f64();
    println!(
        "first time                     {:6.2} s, {:6.2} s without making; {sums:?}",
        first.as_secs_f64(),
        own(first)
    );
    println!("memory at most                 {:6.0} MB", peak_mb().unwrap_or(f64::NAN));
    println!("file                           {:6.0} MB", farm.bytes()? as f64 / 1e6);
    let (sums, again) = take(&mut farm, 0..rows, cows, 2)?;
    println!(
        "the same again                 {:6.2} s, {:6.2} s without making: {:.1} times as fast; {sums:?}",
        again.as_secs_f64(),
        own(again),
        own(first) / own(again)
    );
    let (sums, day) = take(&mut farm, rows..rows + cows * VISITS_A_DAY, cows, 3)?;
    println!("one day more                   {:6.0} ms; {sums:?}", day.as_secs_f64() * 1e3);
    reading(&farm)?;
    let began = Instant::now();
    let faults = farm.check()?;
    println!(
        "check                          {:6.2} s, {} findings",
        began.elapsed().as_secs_f64(),
        faults.len()
    );
    let began = Instant::now();
    farm.backup(&folder.join("copy.sqlite"))?;
    println!("backup                         {:6.2} s", began.elapsed().as_secs_f64());
    println!("memory at most                 {:6.0} MB", peak_mb().unwrap_or(f64::NAN));

    let csv_file = folder.join("visits.csv");
    csv(&csv_file, rows, cows)?;
    match shell(&folder, &csv_file) {
        Some(span) => println!(
            "sqlite3 .import, bare text     {:6.2} s; first time above takes {:.2} of it ({:.2} without making)",
            span.as_secs_f64(),
            first.as_secs_f64() / span.as_secs_f64(),
            own(first) / span.as_secs_f64()
        ),
        None => println!("sqlite3 .import: the shell is not installed"),
    }
    Ok(())
}

fn reading(farm: &Farm) -> Result<(), Trouble> {
    let all = Timestamp::MIN..Timestamp::MAX;
    let (mut count, mut kg) = (0_u64, 0.0);
    let (began, processor) = (Instant::now(), processor_s().0);
    farm.visits(all.clone(), &mut |_, visit| {
        count += 1;
        kg += visit.milk_kg.unwrap_or(0.0);
        ControlFlow::Continue(())
    })?;
    let span = began.elapsed().as_secs_f64();
    println!("all visits in order of time    {span:6.2} s ({count}, {kg:.0} kg)");
    println!("                  processor    {:6.2} s", processor_s().0 - processor);
    let began = Instant::now();
    farm.milkings(all.clone(), &mut |_, _| ControlFlow::Continue(()))?;
    println!("the milk model's columns       {:6.2} s", began.elapsed().as_secs_f64());

    let (first, last) = (farm.first_row_at()?, farm.last_row_at()?);
    let (Some(first), Some(last)) = (first, last) else { return Ok(()) };
    let middle = Timestamp::from_millisecond((first.as_millisecond() + last.as_millisecond()) / 2)?;
    let began = Instant::now();
    let halves: Vec<std::thread::JoinHandle<Result<(), String>>> =
        [Timestamp::MIN..middle, middle..Timestamp::MAX]
            .into_iter()
            .map(|span| {
                let reader = farm.reader().map_err(|error| error.to_string());
                std::thread::spawn(move || {
                    reader?
                        .visits(span, &mut |_, _| ControlFlow::Continue(()))
                        .map_err(|error| error.to_string())
                })
            })
            .collect();
    for half in halves {
        half.join().map_err(|_| "a reader failed")??;
    }
    println!("all visits, two connections    {:6.2} s", began.elapsed().as_secs_f64());

    let fresh = farm.reader()?;
    for (what, days) in [("10 days", 10), ("3 years", 1100)] {
        let from = Timestamp::from_millisecond(last.as_millisecond() - days * 86_400_000)?;
        let began = Instant::now();
        let cold = fresh.visits_of("7", from..Timestamp::MAX)?.len();
        let cold_ms = began.elapsed().as_secs_f64() * 1e3;
        let mut spans: Vec<f64> = Vec::new();
        let processor = processor_s().0;
        for cow in 1..100 {
            let began = Instant::now();
            farm.visits_of(&cow.to_string(), from..Timestamp::MAX)?;
            spans.push(began.elapsed().as_secs_f64() * 1e3);
        }
        let processor_ms = (processor_s().0 - processor) / 99.0 * 1e3;
        spans.sort_by(f64::total_cmp);
        println!(
            "one cow, {what}               {:6.2} ms median, {:.2} ms 95 %, {cold_ms:.2} ms first, {processor_ms:.2} ms processor ({cold} visits)",
            spans[49], spans[94]
        );
    }
    let began = Instant::now();
    farm.last_row_at()?;
    println!("newest row                     {:6.2} ms", began.elapsed().as_secs_f64() * 1e3);
    Ok(())
}

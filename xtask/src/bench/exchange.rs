//! How fast is a page of the open exchange standard beside the plain table of the same visits, and in how much memory?

use std::{
    fs::File,
    io::{BufWriter, Write},
    path::Path,
};

use anyhow::Context as _;
use serde_json::{Map, Value, json};

use super::{
    Line, herd, line,
    measure::{self, Took},
    word,
};

/// Visits of the page that is timed.
const VISITS: usize = 10_000;
/// A herd with some more.
const HERD: herd::Size = herd::Size { cows: 90, boxes: 2, days: 60 };
/// Bytes of the page whose memory is measured.
const LARGE_BYTES: u64 = 1 << 30;
/// Runs of each.
const RUNS: usize = 9;

/// The same visits as a plain table and as a page, each into a new farm, in turn; and a page of 1 GiB.
pub fn speed(program: &Path) -> anyhow::Result<Vec<Line>> {
    let folder = herd::fresh("exchange")?;
    let (table, page, large) =
        (folder.join("visits.csv"), folder.join("page.json"), folder.join("large.json"));
    let visits = herd::logs(&HERD)?.join("visits.csv");
    let written = written(&visits, &table, &page)?;
    let import = |file: &Path| -> anyhow::Result<Took> {
        let farm = herd::fresh("exchange-farm")?;
        herd::import(program, &farm, &[word(file)])
    };
    let plain = measure::median(|_| import(&table), RUNS)?;
    let exchange = measure::median(|_| import(&page), RUNS)?;
    let share = plain.clock_s / exchange.clock_s;
    let rate = |took: &Took| written as f64 / took.clock_s.max(1e-9);
    let mb = page.metadata()?.len() as f64 / 1e6;
    let speed = line(
        format!(
            "a page of {written} visits in the open exchange standard ({mb:.0} MB), and the plain table of the same visits"
        ),
        format!(
            "{:.0} and {:.0} rows/s by the clock, {:.0} %; {:.2} and {:.2} s of processor; whole processes, medians of {RUNS}",
            rate(&exchange),
            rate(&plain),
            100.0 * share,
            exchange.processor_s,
            plain.processor_s
        ),
        "≥ 30 %",
        0.30 <= share,
    );
    let rows = lengthened(&page, &large)?;
    let took = import(&large)?;
    std::fs::remove_file(&large)?;
    herd::fresh("exchange-farm")?;
    let memory = line(
        format!("memory at its peak, a page of 1 GiB ({rows} visits) in the open exchange standard"),
        format!("{:.0} MB; {}", took.peak_mb, took.words()),
        "< 300 MB",
        0.0 < took.peak_mb && took.peak_mb < 300.0,
    );
    Ok(vec![speed, memory])
}

/// The first visits with milk, in both forms; how many.
fn written(visits: &Path, table: &Path, page: &Path) -> anyhow::Result<usize> {
    let mut reader = csv::Reader::from_path(visits)?;
    let header = reader.headers()?.clone();
    let mut plain = csv::Writer::from_path(table)?;
    plain.write_record(&header)?;
    let mut members = Vec::new();
    for record in reader.records() {
        let record = record?;
        let cells: Map<String, Value> =
            header.iter().zip(&record).map(|(name, cell)| (name.to_owned(), json!(cell))).collect();
        let Some(member) = visit(&cells, members.len()) else { continue };
        plain.write_record(&record)?;
        members.push(member);
        if members.len() == VISITS {
            break;
        }
    }
    plain.flush()?;
    let count = members.len();
    serde_json::to_writer(
        BufWriter::new(File::create(page)?),
        &json!({"view": {"totalItems": count}, "member": members}),
    )?;
    Ok(count)
}

/// A row of the table as the standard has it; none without milk.
fn visit(cells: &Map<String, Value>, number: usize) -> Option<Value> {
    let cell = |name: &str| cells.get(name).and_then(Value::as_str).filter(|cell| !cell.is_empty());
    let figure = |name: &str| cell(name).and_then(|cell| cell.parse::<f64>().ok());
    let milk_kg = figure("milk_kg")?;
    let (start, end): (jiff::Timestamp, jiff::Timestamp) =
        (cell("started_at")?.parse().ok()?, cell("ended_at")?.parse().ok()?);
    let characteristic =
        |name: &str, column: &str| Some(json!({"characteristic": name, "value": cell(column)?}));
    let quarters: Vec<Value> = ["LF", "RF", "LR", "RR"]
        .iter()
        .filter_map(|quarter| {
            let stem = quarter.to_lowercase();
            let own = [("AVGCOND", "ms_cm"), ("AVGFLWR", "flow_kg_min"), ("MAXFLWR", "peak_kg_min")];
            let own: Vec<Value> = own
                .iter()
                .filter_map(|(name, column)| characteristic(name, &format!("{stem}_{column}")))
                .collect();
            Some(json!({
                "icarQuarterId": quarter,
                "quarterMilkingDuration": {"unitCode": "SEC", "value": figure(&format!("{stem}_s"))?},
                "quarterMilkingWeight": {"unitCode": "KGM", "value": figure(&format!("{stem}_kg"))?},
                "icarQuarterCharacteristics": own
            }))
        })
        .collect();
    let whole = [
        ("FAT", "fat_pct"),
        ("PROTEIN", "protein_pct"),
        ("LAC", "lactose_pct"),
        ("SCC", "scc_k"),
        ("TEMPERATURE", "milk_c"),
    ];
    let whole: Vec<Value> = whole.iter().filter_map(|(name, column)| characteristic(name, column)).collect();
    Some(json!({
        "resourceType": "icarMilkingVisitEventResource",
        "meta": {"source": "example.bench", "sourceId": format!("v-{number:08}"), "modified": end.to_string()},
        "location": {"scheme": "example.bench.holding", "id": "1"},
        "id": format!("v-{number:08}"),
        "eventDateTime": start.to_string(),
        "animal": {"scheme": "example.bench.animal", "id": cell("animal")?},
        "milkingStartingDateTime": start.to_string(),
        "milkingVisitDuration": {"unitCode": "SEC", "value": (end.as_millisecond() - start.as_millisecond()) as f64 / 1000.0},
        "milkingType": "Automated",
        "milkingMilkWeight": {"unitCode": "KGM", "value": milk_kg},
        "milkingComplete": cell("outcome") == Some("milked"),
        "milkingBoxNumber": cell("box")?,
        "quarterMilkings": quarters,
        "milkCharacteristics": whole
    }))
}

/// The page's visits again and again under other names, up to the size; how many.
fn lengthened(page: &Path, into: &Path) -> anyhow::Result<u64> {
    let page: Value = serde_json::from_slice(&std::fs::read(page)?)?;
    let members = page["member"].as_array().context("a page without members")?;
    let mut out = BufWriter::with_capacity(1 << 18, File::create(into)?);
    let (mut bytes, mut rows) = (0, 0);
    for round in 0.. {
        for member in members {
            let mut own = member.clone();
            own["animal"]["id"] = json!(format!("{round}-{}", member["animal"]["id"].as_str().unwrap_or("")));
            own["meta"]["sourceId"] = json!(format!("{round:04}-{}", member["id"].as_str().unwrap_or("")));
            let text = own.to_string();
            write!(out, "{}{text}", if rows == 0 { "{\"member\":[" } else { "," })?;
            bytes += text.len() as u64 + 1;
            rows += 1;
            if LARGE_BYTES <= bytes {
                out.write_all(b"]}")?;
                out.flush()?;
                return Ok(rows);
            }
        }
    }
    Ok(rows)
}

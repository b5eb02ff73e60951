//! How do rows become files?
//!
//! Row by row, so that memory does not grow with the span. A table's header is cowpath-core's declaration of it, less
//! the columns of sensors this farm has not; a row writes its cells in that order.

use std::{
    fs::{File, create_dir_all},
    io::{BufWriter, Write},
    path::Path,
};

use cowpath_core::tables::{Table, table};

use crate::{
    Scenario, SimError, Written,
    cells::{Line, write_truth},
    clock::FarmClock,
    rows::{Row, VisitRow},
};

/// One file being written.
struct Sheet {
    name: &'static str,
    file: BufWriter<File>,
    shown: Vec<bool>,
    rows: u64,
}

impl Sheet {
    fn open(folder: &Path, name: &'static str, header: &[&str], shown: Vec<bool>) -> Result<Sheet, SimError> {
        let path = folder.join(format!("{name}.csv"));
        let failed = |source| SimError::File { path: path.clone(), source };
        let mut file = BufWriter::with_capacity(1 << 18, File::create(&path).map_err(failed)?);
        let names: Vec<&str> =
            header.iter().zip(&shown).filter(|(_, shown)| **shown).map(|(name, _)| *name).collect();
        writeln!(file, "{}", names.join(",")).map_err(failed)?;
        Ok(Sheet { name, file, shown, rows: 0 })
    }
}

/// Writes every row it is given to its table's file, truth to a folder of its own or nowhere.
pub struct Files {
    clock: FarmClock,
    logs: Vec<Sheet>,
    truth: Vec<Sheet>,
    line: Vec<u8>,
    folder: std::path::PathBuf,
}

/// The tables in the order of [`Files::logs`].
const LOGS: [&str; 10] = [
    "visits",
    "movement",
    "animals",
    "events",
    "recordings",
    "pickups",
    "box-states",
    "feeds",
    "bunk",
    "pushes",
];

/// Truth's tables and their columns.
pub const TRUTH: [(&str, &[&str]); 5] = [
    (
        "cases",
        &[
            "case",
            "animal",
            "kind",
            "form",
            "quarter",
            "began_at",
            "first_sign_at",
            "noticed_at",
            "treated_at",
            "ended_at",
            "severity",
            "clinical",
            "conductivity_rise_ms_cm",
            "milk_loss_pct",
        ],
    ),
    (
        "days",
        &[
            "animal",
            "date",
            "days_in_milk",
            "potential_kg",
            "secreted_kg",
            "loss_pct",
            "lf_share",
            "rf_share",
            "lr_share",
            "rr_share",
            "herd_factor",
        ],
    ),
    ("box-faults", &["box", "kind", "quarter", "form", "from", "full_at", "to", "size"]),
    ("happenings", &["kind", "animal", "box", "quarter", "from", "to", "size"]),
    ("brought", &["animal", "at"]),
];

impl Files {
    /// Opens all files; the folders are made where they are missing.
    pub fn open(
        scenario: &Scenario,
        clock: &FarmClock,
        logs_dir: &Path,
        truth_dir: Option<&Path>,
    ) -> Result<Files, SimError> {
        let made = |dir: &Path| {
            create_dir_all(dir).map_err(|source| SimError::File { path: dir.to_path_buf(), source })
        };
        made(logs_dir)?;
        let mut logs = Vec::new();
        for name in LOGS {
            let declared = table(name).ok_or(SimError::Table(name))?;
            let shown = shown(scenario, declared);
            let header: Vec<&str> = declared.columns.iter().map(|column| column.name).collect();
            logs.push(Sheet::open(logs_dir, name, &header, shown)?);
        }
        let mut truth = Vec::new();
        if let Some(dir) = truth_dir {
            made(dir)?;
            for (name, header) in TRUTH {
                truth.push(Sheet::open(dir, name, header, vec![true; header.len()])?);
            }
        }
        Ok(Files {
            clock: clock.clone(),
            logs,
            truth,
            line: Vec::with_capacity(512),
            folder: logs_dir.to_path_buf(),
        })
    }

    /// Writes one row.
    pub fn take(&mut self, row: &Row) -> Result<(), SimError> {
        let (is_log, place) = match row {
            Row::Visit(_) => (true, 0),
            Row::Movement(_) => (true, 1),
            Row::Animal(_) => (true, 2),
            Row::Event(_) => (true, 3),
            Row::Recording(_) => (true, 4),
            Row::Pickup(_) => (true, 5),
            Row::BoxState(_) => (true, 6),
            Row::Feed(_) => (true, 7),
            Row::Bunk(_) => (true, 8),
            Row::Push(_) => (true, 9),
            Row::Case(_) => (false, 0),
            Row::Day(_) => (false, 1),
            Row::BoxFault(_) => (false, 2),
            Row::Happening(_) => (false, 3),
            Row::Brought(_) => (false, 4),
        };
        let sheets = if is_log { &mut self.logs } else { &mut self.truth };
        let Some(sheet) = sheets.get_mut(place) else { return Ok(()) };
        self.line.clear();
        let mut line = Line::new(&mut self.line, &self.clock, &sheet.shown);
        match row {
            Row::Visit(row) => visit(row, &mut line),
            Row::Movement(row) => {
                line.whole(row.animal);
                line.time(Some(row.from_s));
                line.number(Some(row.minutes), 0);
                line.number(Some(row.activity), 0);
                line.number(Some(row.rumination_min), 0);
                line.number(Some(row.eating_min), 0);
                line.number(Some(row.lying_min), 0);
                line.number(Some(row.steps), 0);
            }
            Row::Animal(row) => {
                line.whole(row.animal);
                line.text(&format!("{:015}", row.official_id));
                line.date(row.born_day);
                line.text("Holstein");
                line.whole(row.parity);
                line.date(row.calved_day);
                line.text(&row.pen);
                line.text(&row.sire);
                line.text(&row.dam);
            }
            Row::Event(row) => {
                line.whole(row.animal);
                line.time(Some(row.at_s));
                line.text(row.kind);
                line.quarter(row.quarter);
                line.text(&row.detail);
                line.number(row.value, 2);
                line.text(row.unit);
                line.time(row.until_s);
                line.text(row.by);
                line.text("");
            }
            Row::Recording(row) => {
                line.whole(row.animal);
                line.date(row.on_day);
                line.number(Some(row.milk_kg), 1);
                for solids in row.solids_pct {
                    line.number(Some(solids), 2);
                }
                line.number(Some(row.scc_k), 0);
            }
            Row::Pickup(row) => {
                line.time(Some(row.collected_s));
                line.number(Some(row.milk_kg), 0);
                for solids in row.solids_pct {
                    line.number(Some(solids), 2);
                }
                line.number(Some(row.scc_k), 0);
                line.number(Some(row.bacteria_k), 0);
                line.number(Some(row.milk_c), 1);
            }
            Row::BoxState(row) => {
                line.whole(row.at_box);
                line.time(Some(row.from_s));
                line.time(Some(row.to_s));
                line.text(row.state);
            }
            Row::Feed(row) => {
                line.text(row.feed);
                for holds in row.holds {
                    line.number(Some(holds), 2);
                }
                line.text(row.kind);
                line.number(row.max_kg_dm, 1);
            }
            Row::Bunk(row) => {
                line.text(&row.pen);
                line.time(Some(row.delivered_s));
                line.text(row.feed);
                line.number(Some(row.kg), 0);
            }
            Row::Push(row) => {
                line.text(&row.bunk_side);
                line.time(Some(row.at_s));
                line.number(Some(row.distance_cm), 0);
            }
            truth => write_truth(truth, &mut line),
        }
        self.line.push(b'\n');
        sheet.rows += 1;
        let folder = &self.folder;
        sheet
            .file
            .write_all(&self.line)
            .map_err(|source| SimError::File { path: folder.join(format!("{}.csv", sheet.name)), source })
    }

    /// Closes all files and counts.
    pub fn close(mut self) -> Result<Written, SimError> {
        let mut written = Written::default();
        for (is_log, sheet) in self
            .logs
            .iter_mut()
            .map(|sheet| (true, sheet))
            .chain(self.truth.iter_mut().map(|sheet| (false, sheet)))
        {
            sheet
                .file
                .flush()
                .map_err(|source| SimError::File { path: self.folder.join(sheet.name), source })?;
            let counts = if is_log { &mut written.rows } else { &mut written.truth_rows };
            counts.insert(sheet.name, sheet.rows);
        }
        Ok(written)
    }
}

fn visit(row: &VisitRow, line: &mut Line<'_>) {
    line.whole(row.animal);
    line.whole(row.at_box);
    line.time(Some(row.started_s));
    line.time(Some(row.ended_s));
    line.time(row.attached_s);
    line.text(row.outcome.word());
    line.number(row.milk_kg, 2);
    for cup in row.cups {
        line.number(cup.kg, 2);
    }
    for cup in row.cups {
        line.number(cup.flow_s, 0);
    }
    for cup in row.cups {
        line.number(cup.flow_kg_min, 2);
    }
    for cup in row.cups {
        line.number(cup.peak_kg_min, 2);
    }
    for cup in row.cups {
        line.number(cup.ms_cm, 2);
    }
    for cup in row.cups {
        line.number(cup.kicked.map(f64::from), 0);
    }
    for cup in row.cups {
        line.number(cup.takeoff_kg_min, 2);
    }
    line.number(row.blood_ppm, 0);
    line.number(row.milk_c, 1);
    line.number(row.fat_pct, 2);
    line.number(row.protein_pct, 2);
    line.number(row.lactose_pct, 2);
    line.number(row.scc_k, 0);
    line.number(row.feed_offered_kg, 2);
    line.number(row.feed_eaten_kg, 2);
    line.number(row.weight_kg, 0);
    line.text(row.destination.map_or("", |to| to.word()));
}

/// Which columns this farm's sensors fill.
fn shown(scenario: &Scenario, declared: &Table) -> Vec<bool> {
    let sensors = scenario.sensors;
    let fitted = |name: &str| match declared.name {
        "visits" => match name {
            "milk_kg" | "started_at" | "ended_at" | "attached_at" => true,
            "blood_ppm" => sensors.blood,
            "milk_c" => sensors.milk_temperature,
            "fat_pct" | "protein_pct" | "lactose_pct" => sensors.composition,
            "scc_k" => sensors.cells,
            "feed_offered_kg" | "feed_eaten_kg" => sensors.feed,
            "weight_kg" => sensors.weight,
            _ if name.ends_with("_ms_cm") => sensors.conductivity,
            _ if name.ends_with("_kicked") => sensors.kicks,
            _ if name.ends_with("_s") || name.ends_with("_kg_min") => sensors.flow,
            _ if name.ends_with("_kg") => sensors.quarters,
            _ => true,
        },
        _ => true,
    };
    declared.columns.iter().map(|column| fitted(column.name)).collect()
}

//! Herds that lack a sensor: the columns of a signal are left out of the logs before they are read.

use std::{
    fs,
    path::{Path, PathBuf},
};

use anyhow::Context as _;

/// What can be left out: a word, the table, and its columns (`*_x`: of each quarter); no columns is the whole table.
const WAYS: [(&str, &str, &[&str]); 17] = [
    ("quarter-milk", "visits", &["*_kg"]),
    ("conductivity", "visits", &["*_ms_cm"]),
    ("kicks", "visits", &["*_kicked"]),
    // Steps stand in for activity where there is none.
    ("activity", "movement", &["activity", "steps"]),
    ("rumination", "movement", &["rumination_min"]),
    ("eating", "movement", &["eating_min"]),
    ("lying", "movement", &["lying_min"]),
    ("feed", "visits", &["feed_offered_kg", "feed_eaten_kg"]),
    ("weight", "visits", &["weight_kg"]),
    ("fat-protein", "visits", &["fat_pct", "protein_pct"]),
    ("lactose", "visits", &["lactose_pct"]),
    ("milk-temperature", "visits", &["milk_c"]),
    ("blood", "visits", &["blood_ppm"]),
    ("cells", "visits", &["scc_k"]),
    ("flow", "visits", &["*_s", "*_flow_kg_min", "*_peak_kg_min", "*_takeoff_kg_min"]),
    ("attaching", "visits", &["attached_at"]),
    ("movement", "movement", &[]),
];

/// Tables whose order in reading matters to nothing, but which a farm hands in together.
const QUARTERS: [&str; 4] = ["lf", "rf", "lr", "rr"];

/// Signals left out together.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Dropped {
    /// Their words; none where the herd has every sensor.
    pub words: Vec<&'static str>,
}

impl Dropped {
    /// From words a user gave; the first one that is none of them is handed back.
    ///
    /// # Errors
    /// A word that names nothing that can be left out.
    pub fn of<'a>(words: &'a [String]) -> Result<Dropped, &'a str> {
        let known =
            |word: &'a String| WAYS.iter().map(|way| way.0).find(|own| own == word).ok_or(word.as_str());
        Ok(Dropped { words: words.iter().map(known).collect::<Result<_, _>>()? })
    }

    /// Every word there is.
    pub fn known() -> Vec<&'static str> {
        WAYS.iter().map(|way| way.0).collect()
    }

    fn drops(&self, table: &str, column: &str) -> bool {
        WAYS.iter().filter(|way| self.words.contains(&way.0) && way.1 == table).any(|way| {
            way.2.iter().any(|own| match own.strip_prefix('*') {
                Some(rest) => QUARTERS.iter().any(|quarter| column.strip_prefix(quarter) == Some(rest)),
                None => *own == column,
            })
        })
    }

    fn drops_table(&self, table: &str) -> bool {
        WAYS.iter().any(|way| self.words.contains(&way.0) && way.1 == table && way.2.is_empty())
    }

    /// The logs' files without these columns, written to `into` where anything is to be left out.
    pub fn files(&self, logs: &Path, into: &Path) -> anyhow::Result<Vec<PathBuf>> {
        let mut files: Vec<PathBuf> = fs::read_dir(logs)?
            .filter_map(|entry| entry.ok().map(|entry| entry.path()))
            .filter(|path| path.extension().is_some_and(|ending| ending == "csv"))
            .collect();
        files.sort();
        let mut kept = Vec::new();
        for path in files {
            let table = path.file_stem().and_then(|stem| stem.to_str()).unwrap_or_default().to_owned();
            if self.drops_table(&table) {
                continue;
            }
            if !WAYS.iter().any(|way| self.words.contains(&way.0) && way.1 == table) {
                kept.push(path);
                continue;
            }
            fs::create_dir_all(into)?;
            let to = into.join(format!("{table}.csv"));
            self.copy(&table, &path, &to).with_context(|| to.display().to_string())?;
            kept.push(to);
        }
        Ok(kept)
    }

    fn copy(&self, table: &str, from: &Path, to: &Path) -> anyhow::Result<()> {
        let mut reader = csv::ReaderBuilder::new().has_headers(false).from_path(from)?;
        let mut writer = csv::Writer::from_path(to)?;
        let mut row = csv::ByteRecord::new();
        let mut keep: Vec<bool> = Vec::new();
        while reader.read_byte_record(&mut row)? {
            if keep.is_empty() {
                keep = row.iter().map(|name| !self.drops(table, &String::from_utf8_lossy(name))).collect();
            }
            writer.write_record(row.iter().zip(&keep).filter(|(_, keep)| **keep).map(|(cell, _)| cell))?;
        }
        writer.flush()?;
        Ok(())
    }
}

/// Sets of sensors that farms lack, and each signal by itself: what is heard without them is what they add.
pub fn sets() -> Vec<Dropped> {
    let beyond_milk =
        ["movement", "feed", "weight", "fat-protein", "lactose", "milk-temperature", "blood", "cells"];
    let mut all = vec![
        Vec::new(),
        Dropped::known(),
        vec!["conductivity", "quarter-milk", "kicks", "flow"],
        beyond_milk.to_vec(),
    ];
    all.extend(WAYS.iter().map(|way| vec![way.0]));
    all.into_iter().map(|words| Dropped { words }).collect()
}

//! What the black-box tests share: a farm in a folder of its own, the program run on it, and what it answered.
#![allow(dead_code, clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use std::{
    ffi::OsStr,
    io::Write,
    path::{Path, PathBuf},
    process::{Command, Stdio},
};

use cowpath_core::tables::{Cell, TABLES};
use cowpath_store::Farm;
use serde_json::Value;
use tempfile::TempDir;

/// What counts as now in every test: after the last morning of the simulated herds.
pub const NOW: &str = "2026-03-03T12:00:00Z";

/// The header of the least that a log of visits needs.
pub const HEADER: &str = "animal,box,started_at,ended_at,outcome,milk_kg\n";

/// A folder with a farm in it, or none yet, and room for logs.
pub struct Place {
    pub dir: TempDir,
}

/// What the program answered.
#[derive(Debug)]
pub struct Answer {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Place {
    pub fn new() -> Place {
        Place { dir: tempfile::tempdir().unwrap() }
    }

    /// A simulated herd's farm, read by the program itself.
    pub fn demo(cows: u32, boxes: u32, days: u32) -> Place {
        let place = Place::new();
        let words = [
            "demo",
            "--no-serve",
            "--cows",
            &cows.to_string(),
            "--boxes",
            &boxes.to_string(),
            "--days",
            &days.to_string(),
        ];
        place.run(words).done();
        place
    }

    pub fn farm(&self) -> PathBuf {
        self.dir.path().join("farm")
    }

    pub fn logs(&self) -> PathBuf {
        self.farm().join("logs")
    }

    /// Writes a file beside the farm.
    pub fn file(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.dir.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    }

    /// The program with `--farm` and `--now`, not yet started.
    pub fn command<W: AsRef<OsStr>>(&self, words: impl IntoIterator<Item = W>) -> Command {
        program(&self.farm(), words)
    }

    /// Runs the program on this farm.
    pub fn run<W: AsRef<OsStr>>(&self, words: impl IntoIterator<Item = W>) -> Answer {
        answer(&mut self.command(words))
    }

    /// Runs the program and reads its JSON; exit code 0 is asked for.
    pub fn json<W: AsRef<OsStr>>(&self, words: impl IntoIterator<Item = W>) -> Value {
        let words: Vec<_> = words.into_iter().map(|word| word.as_ref().to_owned()).collect();
        let answer =
            self.run(words.iter().map(|word| word.as_os_str()).chain(["--format", "json"].map(OsStr::new)));
        serde_json::from_str(&answer.done().out).unwrap()
    }

    /// Imports files, in order.
    pub fn import<P: AsRef<Path>>(&self, files: impl IntoIterator<Item = P>) -> Answer {
        let files = files.into_iter().map(|file| file.as_ref().as_os_str().to_owned());
        self.run([OsStr::new("import").to_owned()].into_iter().chain(files))
    }

    /// `check` must find the file whole.
    pub fn whole(&self) {
        let answer = self.run(["check"]);
        assert_eq!(answer.code, 0, "{answer:?}");
    }

    /// The farm's file through the store's own doors.
    pub fn store(&self) -> Farm {
        Farm::open(&self.farm()).unwrap()
    }

    /// Every row that stands, of every table, as the models may read it.
    pub fn standing(&self) -> Vec<(&'static str, Vec<Vec<Cell>>)> {
        let store = self.store();
        TABLES.into_iter().map(|table| (table.name, store.rows(table, None, None).unwrap())).collect()
    }
}

impl Answer {
    /// The program did what it was asked to.
    pub fn done(self) -> Answer {
        assert_eq!(self.code, 0, "{self:?}");
        self
    }

    /// The user is told what is wrong, and what to do.
    pub fn refused(self) -> Answer {
        assert_eq!(self.code, 1, "{self:?}");
        self
    }

    /// Both what was printed and what was said.
    pub fn words(&self) -> String {
        format!("{}\n{}", self.out, self.err)
    }

    /// The words hold each of these.
    pub fn says(&self, words: &[&str]) -> &Answer {
        for word in words {
            assert!(self.words().contains(word), "`{word}` is missing in {self:#?}");
        }
        self
    }
}

/// The program on a farm's folder, without a terminal and without any setting of the machine it runs on.
pub fn program<W: AsRef<OsStr>>(farm: &Path, words: impl IntoIterator<Item = W>) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_cowpath"));
    command.arg("--farm").arg(farm).args(["--now", NOW]).args(words).stdin(Stdio::null());
    command.env("TZ", "UTC");
    command
}

/// Runs it to its end. Whatever it was given, it neither panics nor calls the fault its own.
pub fn answer(command: &mut Command) -> Answer {
    let output = command.output().unwrap();
    let answer = Answer {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8_lossy(&output.stdout).into_owned(),
        err: String::from_utf8_lossy(&output.stderr).into_owned(),
    };
    assert!(matches!(answer.code, 0 | 1), "{answer:#?}");
    assert!(!answer.words().contains("panicked"), "{answer:#?}");
    answer
}

/// Packs bytes as gzip.
pub fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::fast());
    packer.write_all(bytes).unwrap();
    packer.finish().unwrap()
}

/// Reads CSV: header and rows, every row as long as the header.
pub fn csv_rows(text: &str) -> (Vec<String>, Vec<Vec<String>>) {
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let header = reader.headers().unwrap().iter().map(str::to_owned).collect();
    let rows = reader.records().map(|row| row.unwrap().iter().map(str::to_owned).collect()).collect();
    (header, rows)
}

/// Keys of a JSON object, in order.
pub fn keys(value: &Value) -> Vec<&str> {
    let mut keys: Vec<&str> = value.as_object().unwrap().keys().map(String::as_str).collect();
    keys.sort_unstable();
    keys
}

//! A process killed at any point of a reading leaves the whole batch or none of it, and reading again completes it.
//!
//! The killed process is this test's own binary, started again with a folder named in its environment.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::{
    path::Path,
    process::{Child, Command, Stdio},
    time::{Duration, Instant},
};

use common::{assert_whole, begin, source, visit};
use cowpath_store::Farm;

const FOLDER: &str = "COWPATH_KILL_FOLDER";
const ROWS: i64 = 6000;
const POINTS: u32 = 30;

fn read_log(folder: &Path) {
    let mut farm = Farm::create_or_open(folder, begin()).unwrap();
    // Pages go to the disk long before the batch ends, as they do with a large file.
    farm.keep("reading", "now").unwrap();
    let mut batch = farm.begin(&source("visits", "log.csv", 1)).unwrap();
    for number in 0..ROWS {
        // Every tenth visit is one of two boxes at once.
        let row =
            visit(&(number % 50).to_string(), &(number % 3).to_string(), number / 5, 4 + number % 10, 9.5);
        batch.row(number as u64 + 2, &row).unwrap();
    }
    batch.finish().unwrap();
}

/// Not a test of its own: what the killed process does.
#[test]
fn reader_that_is_killed() {
    if let Some(folder) = std::env::var_os(FOLDER) {
        read_log(Path::new(&folder));
    }
}

fn start(folder: &Path) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "reader_that_is_killed", "--nocapture"])
        .env(FOLDER, folder)
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

#[test]
fn a_kill_leaves_all_or_none() {
    let whole = tempfile::tempdir().unwrap();
    let began = Instant::now();
    assert!(start(whole.path()).wait().unwrap().success());
    let takes = began.elapsed();
    let (mut none, mut all) = (0, 0);
    for point in 0..POINTS {
        let folder = tempfile::tempdir().unwrap();
        let mut child = start(folder.path());
        std::thread::sleep(takes * point / POINTS + Duration::from_micros(u64::from(point) * 137));
        child.kill().unwrap();
        child.wait().unwrap();
        let farm = Farm::create_or_open(folder.path(), begin()).unwrap();
        match (farm.batches().unwrap().as_slice(), farm.row_counts().unwrap()["visits"]) {
            ([], 0) => none += 1,
            ([one], rows) => {
                assert_eq!(one.sums.read, ROWS as u64);
                assert_eq!(rows, ROWS as u64);
                all += 1;
            }
            (batches, rows) => panic!("{} batches and {rows} rows", batches.len()),
        }
        assert_whole(&farm);
        drop(farm);
        read_log(folder.path());
        let farm = Farm::open(folder.path()).unwrap();
        assert_eq!(farm.row_counts().unwrap()["visits"], ROWS as u64);
        let last = farm.batches().unwrap().pop().unwrap().sums;
        assert_eq!(last.new + last.same + last.quarantined, ROWS as u64);
        assert_whole(&farm);
    }
    println!("{POINTS} kills over {takes:?}: {none} left none, {all} left all");
    assert!(POINTS / 2 < none, "most kills came too late: {none} of {POINTS}");
}

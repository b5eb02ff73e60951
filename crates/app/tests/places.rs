//! What does the program say where a file, a folder or a disk is not what it should be?
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::{
    fs,
    path::{Path, PathBuf},
    process::Command,
    time::{Duration, Instant},
};

use common::{HEADER, NOW, Place, answer, program};
use cowpath_core::tables::table;
use cowpath_store::{Farm, Source};

const GOOD: &str = "214,2,2026-03-02T05:30:00Z,2026-03-02T05:37:00Z,milked,9.8\n";

fn good_farm() -> (Place, PathBuf) {
    let place = Place::new();
    let log = place.file("log.csv", format!("{HEADER}{GOOD}"));
    place.import([&log]).done();
    (place, log)
}

#[test]
fn files_that_are_none() {
    let (place, _) = good_farm();
    let folder = place.dir.path().join("folder.csv");
    fs::create_dir(&folder).unwrap();
    place.import([&folder]).refused().says(&["folder.csv", "not read", "Do: ", "not the folder"]);
    place.import([place.dir.path().join("none.csv")]).refused().says(&[
        "none.csv",
        "Do: ",
        "name and folder",
    ]);
    // Opening it succeeds and reading it fails, whoever asks.
    if Path::new("/proc/self/mem").exists() {
        place.import(["/proc/self/mem"]).refused().says(&["/proc/self/mem", "not read", "Do: "]);
    }
    assert_eq!(place.standing()[0].1.len(), 1);
    place.whole();
}

#[cfg(unix)]
#[test]
fn files_that_may_not_be_read() {
    use std::os::unix::fs::PermissionsExt;
    let (place, log) = good_farm();
    fs::set_permissions(&log, fs::Permissions::from_mode(0o000)).unwrap();
    if fs::read(&log).is_ok() {
        println!("skipped: this user may read every file");
        return;
    }
    place.import([&log]).refused().says(&["log.csv", "Do: ", "right to read"]);
    place.whole();
}

#[test]
fn a_farm_folder_that_is_a_file() {
    let (place, log) = good_farm();
    let words = ["import", log.to_str().unwrap()];
    for command in
        [&words as &[&str], &["round"], &["check"], &["settings", "--name", "x"], &["demo", "--no-serve"]]
    {
        let said = answer(&mut program(&log, command)).refused();
        said.says(&["log.csv", "Do: "]);
    }
    answer(&mut program(&log, words)).refused().says(&["log.csv is no folder", "Kept: nothing was changed"]);
    assert_eq!(fs::read_to_string(&log).unwrap(), format!("{HEADER}{GOOD}"), "the file was changed");
    drop(place);
}

/// A farm's folder whose `farm.sqlite` is something else: said plainly, left as it is, exit code 1.
fn not_ours(bytes: &[u8], why: &[&str]) {
    let (place, log) = good_farm();
    let file = place.farm().join("farm.sqlite");
    for ending in ["-wal", "-shm"] {
        let _ = fs::remove_file(place.farm().join(format!("farm.sqlite{ending}")));
    }
    fs::write(&file, bytes).unwrap();
    for words in
        [&["import", log.to_str().unwrap()] as &[&str], &["round"], &["check"], &["settings", "--name", "x"]]
    {
        place.run(words).refused().says(why).says(&["farm.sqlite", "Kept: ", "Do: "]);
        assert_eq!(fs::read(&file).unwrap(), bytes, "{words:?} changed a file that is not ours");
    }
}

/// The header of a SQLite file: its first hundred bytes hold, at 60 the form and at 68 the mark of its program (SQLite's
/// file format, "The Database Header").
fn with_header(mark: Option<u32>, form: Option<u32>) -> Vec<u8> {
    let place = Place::new();
    let log = place.file("log.csv", format!("{HEADER}{GOOD}"));
    place.import([&log]).done();
    let copy = place.dir.path().join("copy");
    place.run(["backup", copy.to_str().unwrap()]).done();
    let mut bytes = fs::read(copy).unwrap();
    assert!(bytes.starts_with(b"SQLite format 3\0"));
    if let Some(mark) = mark {
        bytes[68..72].copy_from_slice(&mark.to_be_bytes());
    }
    if let Some(form) = form {
        bytes[60..64].copy_from_slice(&form.to_be_bytes());
    }
    bytes
}

#[test]
fn files_of_other_programs_and_of_later_ones() {
    not_ours(b"this is a letter to the feed company\n", &["no database"]);
    not_ours(&[0x5A; 70_000], &["no database"]);
    not_ours(&with_header(Some(0), None), &["belongs to another program"]);
    not_ours(&with_header(Some(0x0F05_5112), None), &["belongs to another program"]);
    not_ours(&with_header(None, Some(9)), &["newer Cowpath", "9"]);
}

#[test]
fn a_farm_file_that_is_damaged() {
    let place = Place::demo(6, 1, 4);
    let copy = place.dir.path().join("copy");
    place.run(["backup", copy.to_str().unwrap()]).done();
    let whole = fs::read(&copy).unwrap();
    let file = place.farm().join("farm.sqlite");
    for (from, until) in [(100, 8192), (8192, 40_000), (whole.len() / 2, whole.len())] {
        let mut damaged = whole.clone();
        damaged[from..until].fill(0xA5);
        put(&place, &damaged);
        for words in [["check"], ["round"], ["expected"], ["settings"]] {
            let said = place.run(words);
            assert!(said.code == 1 || words != ["check"], "damage of {from}..{until} not found: {said:?}");
        }
        place.run(["restore", copy.to_str().unwrap()]).done();
        place.whole();
    }
    put(&place, &whole[..whole.len() / 3]);
    place.run(["check"]).refused();
    place.run(["restore", copy.to_str().unwrap()]).done().says(&["What was there before is kept in"]);
    place.whole();
    assert!(file.exists());
}

fn put(place: &Place, bytes: &[u8]) {
    for ending in ["-wal", "-shm"] {
        let _ = fs::remove_file(place.farm().join(format!("farm.sqlite{ending}")));
    }
    fs::write(place.farm().join("farm.sqlite"), bytes).unwrap();
}

#[test]
fn backups_that_are_none() {
    let (place, log) = good_farm();
    place.run(["restore", log.to_str().unwrap()]).refused().says(&["log.csv", "Do: "]);
    place.run(["restore", "/nowhere/farm.cowpath"]).refused().says(&[
        "/nowhere/farm.cowpath",
        "no such file",
        "Do: ",
    ]);
    place.run(["backup", "/nowhere/farm.cowpath"]).refused().says(&["Do: "]);
    let own = place.farm().join("farm.sqlite");
    place.run(["backup", own.to_str().unwrap()]).refused().says(&["own file", "Do: "]);
    place.run(["restore", own.to_str().unwrap()]).refused().says(&["own file", "Do: "]);
    let foreign = place.file("foreign.cowpath", with_header(Some(0), None));
    place.run(["restore", foreign.to_str().unwrap()]).refused().says(&["another program", "Do: "]);
    place.whole();
    assert_eq!(place.standing()[0].1.len(), 1);
}

#[test]
fn what_a_restore_kept_is_not_lost_to_the_next() {
    let (place, _) = good_farm();
    place.run(["settings", "--name", "Three years of logs"]).done();
    let other = Place::new();
    other.run(["settings", "--name", "The wrong farm"]).done();
    let wrong = place.dir.path().join("wrong");
    other.run(["backup", wrong.to_str().unwrap()]).done();
    let kept_in = |said: &str| {
        let line =
            said.lines().find_map(|line| line.strip_prefix("What was there before is kept in ")).unwrap();
        line.trim_end_matches('.').to_owned()
    };
    let first = kept_in(&place.run(["restore", wrong.to_str().unwrap()]).done().out);
    let second = kept_in(&place.run(["restore", wrong.to_str().unwrap()]).done().out);
    assert_ne!(first, second);
    place.run(["restore", &first]).done();
    assert_eq!(place.json(["settings"])["name"], "Three years of logs");
    place.whole();
}

#[test]
fn another_program_is_writing() {
    let place = Place::demo(6, 1, 20);
    place.store().forget_checkpoints().unwrap();
    let before = place.standing()[0].1.len();
    let mut farm = place.store();
    let source = Source {
        file: "other.csv".into(),
        content: [7; 32],
        table: table("visits").unwrap(),
        zone: "UTC".into(),
        map: String::new(),
        now: NOW.parse().unwrap(),
        columns: Vec::new(),
    };
    let batch = farm.begin(&source).unwrap();
    let more = place.file("more.csv", format!("{HEADER}{}", GOOD.replace("214", "215")));
    place.import([&more]).refused().says(&["more.csv", "in use", "Kept: ", "Do: ", "try again"]);
    // Who only asks is not kept waiting, though the round would keep memories; a writer waits for five seconds.
    let began = Instant::now();
    for words in [["round"], ["expected"], ["settings"]] {
        place.run(words).done();
    }
    assert!(began.elapsed() < Duration::from_secs(4), "answers were kept waiting for {:?}", began.elapsed());
    place.whole();
    drop(batch);
    place.import([&more]).done();
    assert_eq!(place.standing()[0].1.len(), before + 1);
}

/// A small disk of its own; taken away at the end. `None` where this user may not make one.
struct SmallDisk(PathBuf);

impl SmallDisk {
    fn new(at: &Path, options: &str) -> Option<SmallDisk> {
        fs::create_dir_all(at).unwrap();
        let made = Command::new("mount").args(["-t", "tmpfs", "-o", options, "tmpfs"]).arg(at).output();
        if made.is_ok_and(|made| made.status.success()) {
            return Some(SmallDisk(at.to_owned()));
        }
        println!("skipped: this user may not mount a small disk");
        None
    }
}

impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(&self.0).output();
    }
}

#[test]
fn a_disk_that_is_full() {
    let place = Place::new();
    let Some(disk) = SmallDisk::new(&place.farm(), "size=3m") else { return };
    let small = place.file("small.csv", format!("{HEADER}{GOOD}"));
    place.import([&small]).done();
    let mut log = HEADER.to_owned();
    for row in 0..60_000_u32 {
        let (day, hour, minute) = (row / 2400 + 1, row / 100 % 24, row % 60);
        log += &format!(
            "{},1,2026-01-{day:02}T{hour:02}:{minute:02}:00Z,2026-01-{day:02}T{hour:02}:{minute:02}:20Z,milked,9.8\n",
            row % 1000 + 1000
        );
    }
    let large = place.file("large.csv", log);
    let said = place.import([&large]).refused();
    said.says(&["large.csv", "full", "Kept: ", "Do: ", "free some space"]);
    place.whole();
    assert_eq!(place.standing()[0].1.len(), 1, "half a file was kept");
    place.run(["round"]).done();
    place.run(["backup", disk.0.join("backup").to_str().unwrap()]);
    place.whole();
    let grown = Command::new("mount").args(["-o", "remount,size=200m"]).arg(&disk.0).status().unwrap();
    assert!(grown.success());
    place.import([&large]).done();
    place.whole();
}

#[test]
fn a_folder_that_may_only_be_read() {
    let (place, log) = good_farm();
    let Some(disk) = SmallDisk::new(&place.dir.path().join("ro"), "size=8m") else { return };
    // A backup is a farm's whole file, without the log of what was written last.
    place.run(["backup", disk.0.join("farm.sqlite").to_str().unwrap()]).done();
    assert!(Command::new("mount").args(["-o", "remount,ro"]).arg(&disk.0).status().unwrap().success());
    let said = answer(&mut program(&disk.0, ["import", log.to_str().unwrap()])).refused();
    said.says(&["cannot be written", "Do: ", "--farm"]);
    answer(&mut program(&disk.0, ["settings", "--name", "x"])).refused().says(&["cannot be written", "Do: "]);
    let empty = disk.0.join("empty");
    answer(&mut program(&empty, ["import", log.to_str().unwrap()]))
        .refused()
        .says(&["cannot be written", "Do: "]);
    // Reading needs no writing: the newest milking, the settings, a backup to another place.
    answer(&mut program(&disk.0, ["round"])).done().says(&["Round, Monday 2 March, 05:37"]);
    answer(&mut program(&disk.0, ["cow", "214"])).done();
    answer(&mut program(&disk.0, ["check"])).done();
    answer(&mut program(&disk.0, ["settings"])).done();
    let copy = place.dir.path().join("copy");
    answer(&mut program(&disk.0, ["backup", copy.to_str().unwrap()])).done();
    assert_eq!(fs::read(copy).unwrap().len(), fs::read(disk.0.join("farm.sqlite")).unwrap().len());
    // A log of late writings that cannot be read in must not be passed over.
    assert!(Command::new("mount").args(["-o", "remount,rw"]).arg(&disk.0).status().unwrap().success());
    fs::write(disk.0.join("farm.sqlite-wal"), [7; 100]).unwrap();
    assert!(Command::new("mount").args(["-o", "remount,ro"]).arg(&disk.0).status().unwrap().success());
    answer(&mut program(&disk.0, ["round"])).refused().says(&["cannot be written", "Do: "]);
}

#[test]
fn the_store_is_only_opened_by_its_folder() {
    let (place, _) = good_farm();
    assert!(Farm::exists(&place.farm()));
    let nested = place.dir.path().join("a/b/c");
    let log = place.dir.path().join("log.csv");
    answer(&mut program(&nested, ["import", log.to_str().unwrap()])).done();
    assert!(Farm::exists(&nested), "a farm is founded in a folder that was not there yet");
}

//! Files that are not ours, folders that cannot be written to, full disks and other writers are said plainly.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::{fs, path::Path};

use common::{assert_whole, begin, farm, read, source, visit};
use cowpath_core::remedy::Remedy;
use cowpath_store::{FILE_NAME, Farm, StoreError};
use rusqlite::Connection;

fn trouble(folder: &Path) -> StoreError {
    let error = Farm::create_or_open(folder, begin()).expect_err("it opened");
    assert!(!error.kept().is_empty() && !error.next().is_empty());
    assert!(error.is_users());
    error
}

#[test]
fn another_programs_database_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join(FILE_NAME);
    Connection::open(&file).unwrap().execute_batch("CREATE TABLE note (text)").unwrap();
    let before = fs::read(&file).unwrap();
    assert!(matches!(trouble(folder.path()), StoreError::OtherProgram { .. }));
    assert!(matches!(Farm::open(folder.path()), Err(StoreError::OtherProgram { .. })));
    assert!(matches!(Farm::restore(folder.path(), &file), Err(StoreError::OwnFile { .. })));
    assert_eq!(fs::read(&file).unwrap(), before);
}

#[test]
fn a_file_that_is_no_database_is_left_alone() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join(FILE_NAME);
    for garbage in
        [&b"animal,box\n"[..], &[0; 4096], b"SQLite format 3\0 and then nothing of the kind, however long"]
    {
        fs::write(&file, garbage).unwrap();
        let error = trouble(folder.path());
        assert!(matches!(error, StoreError::NotADatabase { .. } | StoreError::Damaged { .. }), "{error:?}");
        assert_eq!(fs::read(&file).unwrap(), garbage);
    }
}

#[test]
fn a_folder_without_a_farm_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let error = Farm::open(folder.path()).unwrap_err();
    assert!(matches!(error, StoreError::NoFarm { .. }));
    assert!(error.next().contains("cowpath import"));
    assert!(!folder.path().join(FILE_NAME).exists());
}

#[test]
fn an_empty_file_left_by_a_kill_becomes_a_farm() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join(FILE_NAME), b"").unwrap();
    let farm = Farm::create_or_open(folder.path(), begin()).unwrap();
    assert_whole(&farm);
}

#[test]
fn a_newer_file_is_not_touched() {
    let (folder, farm) = farm();
    let file = farm.file();
    drop(farm);
    Connection::open(&file).unwrap().pragma_update(None, "user_version", 99).unwrap();
    let error = trouble(folder.path());
    assert!(matches!(error, StoreError::Newer { found: 99, .. }));
    assert!(error.to_string().contains("99"));
}

/// Permission bits do not bind the system's administrator; then a place that nobody can write to stands in.
#[test]
fn a_read_only_folder_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let (_keep, written) = farm();
    drop(written);
    fs::copy(_keep.path().join(FILE_NAME), folder.path().join(FILE_NAME)).unwrap();
    set_read_only(folder.path(), true);
    let bound = fs::write(folder.path().join("trial"), b"").is_err();
    if bound {
        for tried in [Farm::create_or_open(folder.path(), begin()), Farm::open(folder.path())] {
            assert!(matches!(tried, Err(StoreError::ReadOnly { .. })), "{tried:?}");
        }
        let below = trouble(&folder.path().join("farm"));
        assert!(matches!(below, StoreError::ReadOnly { .. }), "{below:?}");
    } else {
        println!("permission bits do not bind this user: tried on /sys alone");
    }
    set_read_only(folder.path(), false);
    if cfg!(target_os = "linux") && Path::new("/sys/kernel").is_dir() {
        let error = trouble(Path::new("/sys/kernel/cowpath-farm"));
        assert!(matches!(error, StoreError::ReadOnly { .. }), "{error:?}");
        let error = trouble(Path::new("/sys/kernel"));
        assert!(matches!(error, StoreError::ReadOnly { .. }), "{error:?}");
    }
}

fn set_read_only(folder: &Path, read_only: bool) {
    let mut permissions = fs::metadata(folder).unwrap().permissions();
    #[allow(clippy::permissions_set_readonly_false)]
    permissions.set_readonly(read_only);
    fs::set_permissions(folder, permissions).unwrap();
}

#[test]
fn a_full_disk_keeps_the_whole_of_before_and_nothing_of_now() {
    let (_folder, mut farm) = farm();
    read(&mut farm, "visits", &[visit("1", "1", 0, 5, 9.0)]);
    farm.limit_bytes(farm.bytes().unwrap() + 100_000).unwrap();
    let mut batch = farm.begin(&source("visits", "large.csv", 2)).unwrap();
    let mut failed = None;
    for number in 0..5_000_u64 {
        if let Err(error) = batch.row(number + 2, &visit("2", "1", number as i64 * 10, 5, 9.0)) {
            failed = Some(error);
            break;
        }
    }
    let error = failed.expect("the disk was never full");
    assert!(matches!(error, StoreError::DiskFull), "{error:?}");
    assert!(error.next().contains("free some space"));
    // Going on after that must not keep a half.
    assert!(batch.row(9_000, &visit("3", "1", 0, 5, 9.0)).is_err());
    assert!(batch.finish().is_err());
    assert_eq!((farm.batches().unwrap().len(), farm.row_counts().unwrap()["visits"]), (1, 1));
    assert_whole(&farm);
    farm.limit_bytes(u64::MAX / 2).unwrap();
    read(&mut farm, "visits", &[visit("2", "1", 0, 5, 9.0)]);
    assert_whole(&farm);
}

#[test]
fn a_second_writer_waits_and_is_told_and_readers_are_not_blocked() {
    let (folder, mut first) = farm();
    read(&mut first, "visits", &[visit("1", "1", 0, 5, 9.0)]);
    let reader = first.reader().unwrap();
    let mut second = Farm::open(folder.path()).unwrap();
    let mut batch = first.begin(&source("visits", "a.csv", 2)).unwrap();
    batch.row(2, &visit("2", "1", 60, 5, 9.0)).unwrap();
    assert_eq!(reader.row_counts().unwrap()["visits"], 1);
    let error = second.begin(&source("visits", "b.csv", 3)).err().expect("two writers at once");
    assert!(matches!(error, StoreError::InUse { waited_s: 5 }), "{error:?}");
    batch.finish().unwrap();
    assert_eq!(reader.row_counts().unwrap()["visits"], 2);
    read(&mut second, "visits", &[visit("3", "1", 90, 5, 9.0)]);
    assert_eq!(reader.numbers().unwrap(), ["1", "2", "3"]);
}

#[test]
fn a_reader_cannot_write() {
    let (_folder, farm) = farm();
    let error = farm.reader().unwrap().keep("a", "b").unwrap_err();
    assert!(matches!(error, StoreError::ReadOnly { .. }));
}

//! Backup and restore while the farm is being read and written.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::{fs, path::Path};

use common::{assert_whole, begin, farm, read, source, standing, visit};
use cowpath_store::{FILE_NAME, Farm, Settings, StoreError};
use rusqlite::Connection;

#[test]
fn a_restored_farm_is_the_backed_up_one_and_open_readers_see_it() {
    let (folder, mut farm) = farm();
    let elsewhere = tempfile::tempdir().unwrap();
    let backup = elsewhere.path().join("farm-backup.sqlite");
    farm.save_settings(&Settings { name: "Hill".into(), ..Settings::fresh() }).unwrap();
    read(&mut farm, "visits", &[visit("1", "1", 0, 5, 9.0)]);
    let reader = farm.reader().unwrap();
    assert_eq!(standing(&reader, "visits").len(), 1);
    {
        // A batch under way is not in the backup, and does not hold it up.
        let mut writer = Farm::open(folder.path()).unwrap();
        let mut batch = writer.begin(&source("visits", "a.csv", 2)).unwrap();
        batch.row(2, &visit("2", "1", 60, 5, 9.0)).unwrap();
        farm.backup(&backup).unwrap();
        batch.finish().unwrap();
    }
    assert_eq!(fs::read_dir(elsewhere.path()).unwrap().count(), 1, "something was left beside the backup");
    assert_eq!(standing(&reader, "visits").len(), 2);

    let before = Farm::restore(folder.path(), &backup).unwrap().expect("the farm as it was");
    assert_eq!(standing(&reader, "visits").len(), 1);
    assert_eq!(standing(&farm, "visits").len(), 1);
    assert_eq!(reader.settings().unwrap().name, "Hill");
    read(&mut farm, "visits", &[visit("3", "1", 90, 5, 9.0)]);
    assert_eq!(reader.numbers().unwrap(), ["1", "3"]);
    assert_whole(&farm);

    // And back to what was before.
    Farm::restore(folder.path(), &before).unwrap();
    assert_eq!(reader.numbers().unwrap(), ["1", "2"]);
    assert_whole(&reader);
}

#[test]
fn a_reader_in_the_middle_of_its_questions_keeps_its_state() {
    let (folder, mut farm) = farm();
    read(&mut farm, "visits", &[visit("1", "1", 0, 5, 9.0)]);
    let backup = folder.path().join("b.sqlite");
    farm.backup(&backup).unwrap();
    read(&mut farm, "visits", &[visit("2", "1", 60, 5, 9.0)]);
    let reader = farm.reader().unwrap();
    reader
        .at_one_state(|reader| {
            assert_eq!(reader.numbers()?.len(), 2);
            Farm::restore(folder.path(), &backup)?;
            assert_eq!(reader.numbers()?.len(), 2);
            Ok(())
        })
        .unwrap();
    assert_eq!(reader.numbers().unwrap().len(), 1);
}

#[test]
fn a_backup_can_begin_a_farm_in_an_empty_folder() {
    let (folder, mut farm) = farm();
    read(&mut farm, "visits", &[visit("1", "1", 0, 5, 9.0)]);
    let backup = folder.path().join("b.sqlite");
    farm.backup(&backup).unwrap();
    let fresh = tempfile::tempdir().unwrap();
    let place = fresh.path().join("new");
    assert_eq!(Farm::restore(&place, &backup).unwrap(), None);
    assert_eq!(standing(&Farm::open(&place).unwrap(), "visits"), standing(&farm, "visits"));
}

#[test]
fn what_is_no_backup_changes_nothing() {
    let (folder, mut farm) = farm();
    read(&mut farm, "visits", &[visit("1", "1", 0, 5, 9.0)]);
    let elsewhere = tempfile::tempdir().unwrap();
    let at = |name: &str| elsewhere.path().join(name);
    fs::write(at("garbage"), b"milk").unwrap();
    fs::write(at("empty"), b"").unwrap();
    Connection::open(at("other")).unwrap().execute_batch("CREATE TABLE note (text)").unwrap();
    farm.backup(&at("torn")).unwrap();
    tear(&at("torn"));
    for name in ["garbage", "empty", "other", "torn", "absent"] {
        let error = Farm::restore(folder.path(), &at(name)).unwrap_err();
        let expected = match (name, &error) {
            ("absent", StoreError::Io { .. }) => true,
            ("absent", _) => false,
            (_, StoreError::NotABackup { why, in_the_way: false, .. }) => why.contains(match name {
                "other" => "another program",
                "torn" => "damaged",
                "empty" => "empty",
                _ => "no database",
            }),
            _ => false,
        };
        assert!(expected, "{name}: {error:?}");
        assert_eq!(standing(&farm, "visits").len(), 1);
        assert!(!folder.path().join(format!("{FILE_NAME}.before-restore")).exists());
    }
    assert!(matches!(farm.backup(&farm.file()), Err(StoreError::OwnFile { .. })));
    // What another program or a person wrote does not give way to a backup.
    for name in ["garbage", "other"] {
        let before = fs::read(at(name)).unwrap();
        let refused = farm.backup(&at(name));
        assert!(
            matches!(refused, Err(StoreError::NotABackup { in_the_way: true, .. })),
            "{name}: {refused:?}"
        );
        assert_eq!(fs::read(at(name)).unwrap(), before, "{name} was changed");
    }
    assert_whole(&farm);
}

#[test]
fn a_damaged_farm_is_set_aside_and_restored() {
    let (folder, mut farm) = farm();
    read(&mut farm, "visits", &[visit("1", "1", 0, 5, 9.0)]);
    let backup = folder.path().join("b.sqlite");
    farm.backup(&backup).unwrap();
    let file = farm.file();
    drop(farm);
    fs::write(&file, b"nothing of a database is left in here").unwrap();
    let before = Farm::restore(folder.path(), &backup).unwrap().unwrap();
    assert!(fs::read(before).unwrap().starts_with(b"nothing"));
    let farm = Farm::create_or_open(folder.path(), begin()).unwrap();
    assert_eq!(standing(&farm, "visits").len(), 1);
    assert_whole(&farm);
}

/// Overwrites a page in the middle of a database.
fn tear(file: &Path) {
    let mut bytes = fs::read(file).unwrap();
    let page = 32_768;
    let middle = bytes.len() / page / 2 * page;
    bytes[middle..middle + page].fill(0xA5);
    fs::write(file, bytes).unwrap();
}

//! The way of a table of another form: named when it is met, mapped, looked at, kept, read, and read again.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::Place;

const SWEDISH: &str = include_str!("../../import/tests/foreign/swedish.csv");

#[test]
fn an_unknown_table_is_mapped_kept_and_read() {
    let place = Place::new();
    let file = place.file("export.csv", SWEDISH);
    let file = file.to_str().unwrap();

    let met = place.run(["import", file, "--zone", "Europe/Stockholm"]);
    assert_eq!(met.code, 1);
    assert!(met.out.contains("cowpath map FILE"), "{met:?}");

    let saved = place.dir.path().join("own.toml");
    let saved = saved.to_str().unwrap();
    let text = place.run(["map", file, "--save", saved]).done();
    for words in [
        "\"Djurnummer\": animal",
        "sure: the header says so",
        "10 rows read with this map",
        "a length of time after started_at",
    ] {
        assert!(text.out.contains(words), "{words}: {}", text.out);
    }
    let again = place.run(["map", file, "--save", saved]);
    assert_eq!(again.code, 1, "what is there is not written over");
    assert!(again.err.contains("stays as it is"), "{again:?}");

    let proposed = place.json(["map", file]);
    assert_eq!(proposed["table"], "visits");
    assert_eq!(proposed["rows"].as_array().unwrap().len(), 10);
    assert_eq!(proposed["lacks"].as_array().unwrap().len(), 0);
    let with = place.json(["map", file, "--with", saved]);
    assert_eq!(with["rows"], proposed["rows"], "the saved map reads the same rows");

    let read = place.json(["import", file, "--map", saved]);
    assert_eq!(read["files"][0]["table"], "visits");
    assert_eq!(read["files"][0]["map"], "export");
    assert_eq!(read["files"][0]["read"], 60);
    assert_eq!(read["files"][0]["new"], 60);

    // Kept in the farm's folder, the map is found by the header of the next export.
    place.run(["map", file, "--keep"]).done();
    let same = place.json(["import", file]);
    assert_eq!(same["files"][0]["same"], 60);
    let next = place.file("next.csv", SWEDISH.replace("2026-02-24", "2026-02-26"));
    let next = place.run(["import", next.to_str().unwrap()]).done();
    assert!(next.out.contains("visits by the map \"export\""), "{}", next.out);

    // Two that fit are not ours to choose from.
    std::fs::copy(place.farm().join("maps/export.toml"), place.farm().join("maps/other.toml")).unwrap();
    let third = place.file("third.csv", SWEDISH.replace("2026-02-24", "2026-02-27"));
    let third = place.run(["import", third.to_str().unwrap()]);
    assert_eq!(third.code, 1);
    assert!(
        third.out.contains("several saved maps fit its header: \"export.toml\", \"other.toml\""),
        "{third:?}"
    );
}

#[test]
fn a_map_that_is_wrong_names_its_line_and_reads_nothing() {
    let place = Place::new();
    let file = place.file("export.csv", SWEDISH);
    let map = place.file(
        "own.toml",
        "version = 1\ntable = \"visits\"\n\n[[column]]\nfrom = \"Djurnummer\"\nto = \"cow\"\n",
    );
    let answer = place.run(["import", file.to_str().unwrap(), "--map", map.to_str().unwrap()]);
    assert_eq!(answer.code, 1);
    assert!(answer.err.contains("line 6 of the map: `cow` is not a column of `visits`"), "{answer:?}");
    assert!(!place.farm().exists(), "no farm was founded for it");
}

#[test]
fn a_file_that_lost_a_column_is_not_read_with_its_map() {
    let place = Place::new();
    let file = place.file("export.csv", SWEDISH);
    let saved = place.dir.path().join("own.toml");
    let saved = saved.to_str().unwrap();
    place.run(["map", file.to_str().unwrap(), "--save", saved]).done();
    let lost = place.file("lost.csv", SWEDISH.replace("Utfall", "Something"));
    let answer = place.run(["import", lost.to_str().unwrap(), "--map", saved]);
    assert_eq!(answer.code, 1);
    assert!(answer.out.contains("reads columns that the file does not have: \"Utfall\""), "{answer:?}");
    let seen = place.run(["map", lost.to_str().unwrap(), "--with", saved]);
    assert_eq!(seen.code, 1);
    assert!(seen.err.contains("\"Utfall\""), "{seen:?}");
}

#[test]
fn a_file_of_which_nothing_is_known_is_said_to_be_so() {
    let place = Place::new();
    let file = place.file("what.csv", "aa;bb\nx;y\nz;w\n");
    let answer = place.run(["map", file.to_str().unwrap()]);
    assert_eq!(answer.code, 1);
    assert!(answer.err.contains("no column of the file has a meaning that is known"), "{answer:?}");
}

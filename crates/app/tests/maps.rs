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

#[test]
fn a_row_of_a_mapped_file_is_mended_in_its_own_words_and_by_a_mended_map() {
    let place = Place::new();
    let header = "Djurnummer;Robot;In;Ut;Utfall;Kilo\n";
    let row = |cow: u32, hour: u32, outcome: &str, kilo: &str| {
        format!("{cow};1;2026-02-24 {hour:02}:00;2026-02-24 {hour:02}:08;{outcome};{kilo}\n")
    };
    let map = |outcomes: &str| {
        format!(
            "version = 1\nname = \"own\"\ntable = \"visits\"\nseparator = \";\"\ndecimal = \",\"\norder = \"year-month-day\"\n\n\
             [[column]]\nfrom = \"Djurnummer\"\nto = \"animal\"\n\n[[column]]\nfrom = \"Robot\"\nto = \"box\"\n\n\
             [[column]]\nfrom = \"In\"\nto = \"started_at\"\n\n[[column]]\nfrom = \"Ut\"\nto = \"ended_at\"\n\n\
             [[column]]\nfrom = \"Utfall\"\nto = \"outcome\"\nwords = {{ {outcomes} }}\n\n\
             [[column]]\nfrom = \"Kilo\"\nto = \"milk_kg\"\n"
        )
    };
    let text = header.to_owned()
        + &row(1, 5, "klar", "12,5")
        + &row(2, 6, "klar", "125,0")
        + &row(3, 7, "sparkad", "4,0")
        + &row(4, 8, "sparkad", "5,5");
    let file = place.file("export.csv", text);
    let own = place.file("own.toml", map("klar = \"milked\""));
    let words =
        ["import", file.to_str().unwrap(), "--map", own.to_str().unwrap(), "--zone", "Europe/Stockholm"];
    let read = place.json(words);
    assert_eq!(
        (&read["files"][0]["new"], &read["files"][0]["quarantined"]),
        (&1.into(), &3.into()),
        "{read:#}"
    );

    // The cell is named as the file names it, and written as the file writes it.
    let listed = place.json(["quarantine"]);
    let rows = listed["rows"].as_array().unwrap();
    let much = rows.iter().find(|row| row["line"] == 3).unwrap();
    let entry = much["entry"].to_string();
    place
        .run(["quarantine", "mend", &entry, "milk_kg=12.5"])
        .refused()
        .says(&["its columns are Djurnummer, Robot"]);
    place.run(["quarantine", "mend", &entry, "Kilo=99,5"]).refused();
    place.run(["quarantine", "mend", &entry, "Kilo=12,5"]).done().says(&["taken in: new"]);

    // A map that knows one word more takes in the rest; without one nothing is guessed.
    let again = place.json(["quarantine", "again"]);
    assert_eq!((&again["taken"], &again["left"]), (&0.into(), &2.into()), "{again:#}");
    std::fs::create_dir_all(place.farm().join("maps")).unwrap();
    let mended = map("klar = \"milked\", sparkad = \"incomplete\"");
    std::fs::write(place.farm().join("maps/own.toml"), mended).unwrap();
    let again = place.json(["quarantine", "again"]);
    assert_eq!((&again["taken"], &again["left"]), (&2.into(), &0.into()), "{again:#}");
    let expected = place.run(["expected", "--format", "csv"]).done();
    assert_eq!(expected.out.lines().count(), 5, "four visits under their header: {}", expected.out);
    place.whole();
}

//! Is every refusal of a person's words told in full, and is nothing lost or broken where nobody listens?
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::{
    fs::{self, File},
    process::Stdio,
};

use common::{Answer, HEADER, Place};

const GOOD: &str = "214,2,2026-03-02T05:30:00Z,2026-03-02T05:37:00Z,milked,9.8\n";

fn good_farm() -> Place {
    let place = Place::new();
    let log = place.file("log.csv", format!("{HEADER}{GOOD}"));
    place.import([&log]).done();
    place
}

/// Three lines: what happened, what was kept, what to do; nothing of the parser's own speech.
fn in_full(said: &Answer) {
    let lines: Vec<&str> = said.err.lines().collect();
    let [what, kept, next] = lines[..] else { panic!("not three lines: {said:#?}") };
    assert!(!what.is_empty() && !what.starts_with("error"), "{said:#?}");
    assert!(kept.starts_with("Kept: ") && next.starts_with("Do: "), "{said:#?}");
    assert!(!said.err.contains("Usage"), "{said:#?}");
    assert!(said.out.is_empty(), "{said:#?}");
}

#[test]
fn wrong_words_are_told_in_full() {
    let place = good_farm();
    let wrong: [(&[&str], &[&str]); 19] = [
        (&["rond"], &["no command `rond`", "say `round`"]),
        (&["round", "--fromat", "json"], &["`--fromat` is not understood", "say `--format`"]),
        (&["round", "--format", "xml"], &["--format", "cannot be `xml`", "take one of text, json, csv"]),
        (&["round", "--format"], &["--format", "needs a value"]),
        (&["round", "today"], &["`today` is not understood", "cowpath round --help"]),
        (&["round", "--at", ""], &["is not a time", "2026-03-02T05:30"]),
        (&["round", "--at", "31.3."], &["`31.3.` is not a time"]),
        (&["round", "--at", "1700-01-01T05:30"], &["of no year that logs are of", "the year is right"]),
        (&["plan"], &["--cows", "is missing", "cowpath plan --help"]),
        (&["import"], &["FILE", "is missing", "cowpath import --help"]),
        (&["cow"], &["ANIMAL", "is missing"]),
        (&["cow", "-5"], &["`-5` is not understood"]),
        (&["cow", ""], &["no cow ``"]),
        (&["cow", "214", "--from", "soon"], &["--from", "cannot be `soon`", "write a day like 2026-03-02"]),
        (&["demo", "--cows", "0"], &["--cows", "cannot be `0`", "2..=5000"]),
        (&["settings", "--units", "stone"], &["--units", "take one of metric, us"]),
        (&["settings", "--name", "a", "--name", "b"], &["--name", "only once"]),
        (&["serve", "--listen", "127.0.0.1:99999"], &["127.0.0.1:99999", "127.0.0.1:8423"]),
        (&["backup", ""], &["FILE", "needs a value"]),
    ];
    for (words, says) in wrong {
        let said = place.run(words).refused();
        said.says(says);
        in_full(&said);
    }
    let again =
        common::answer(common::program(&place.farm(), ["round"]).args(["--now", "yesterday"])).refused();
    again.says(&["--now", "cannot be `yesterday`", "Do: write a time with its offset"]);
    place.whole();
}

#[test]
fn a_time_after_the_logs_is_not_taken_for_a_quiet_morning() {
    let place = good_farm();
    for (at, says) in [("2030-01-01T05:30", "is of 2 March 2026"), ("2026-03-04T05:30", "is of Monday")] {
        let said = place.run(["round", "--at", at]).done();
        assert!(said.out.contains("The last row known") && said.out.contains(says), "{at}: {}", said.out);
    }
    // In time, and before the first row, nothing of the kind is said.
    for at in ["2026-03-02T08:00", "2026-03-03T05:00", "2020-01-01T05:30"] {
        let said = place.run(["round", "--at", at]).done();
        assert!(!said.out.contains("The last row known"), "{at}: {}", said.out);
    }
}

#[test]
fn a_farm_with_but_a_herd_list_knows_its_cows() {
    let place = Place::new();
    let list = place.file("animals.csv", "animal,parity,calved_on\n214,2,2026-01-05\n305,1,2026-02-01\n");
    place.import([&list]).done();
    let round = place.run(["round"]).done();
    assert!(round.out.contains("with 2 cows.") && round.out.contains("visits next"), "{}", round.out);
    assert!(round.out.contains("214, 305: no milking read"), "{}", round.out);
    let cow = place.run(["cow", "214"]).done();
    assert!(cow.out.contains("second lactation"), "{}", cow.out);
    place.run(["cow", "999"]).refused().says(&["no cow `999`"]);
    // The rest of the answers have nothing to go by, and say so.
    for words in [["bring-in"], ["boxes"], ["intervals"], ["expected"], ["costs"], ["record"]] {
        let said = place.run(words);
        assert!(matches!(said.code, 0 | 1), "{said:?}");
    }
    place.run(["export", "attention", "-"]).done();
    place.whole();
}

#[test]
fn a_wrong_name_of_farm_and_file_makes_no_farm() {
    let place = Place::new();
    let said = place.run(["import", "nowhere.csv", "neither.csv"]).refused();
    said.says(&["nowhere.csv", "no such file", "no farm was made"]);
    in_full(&said);
    assert!(!place.farm().exists());
    // Where one of them is there, it is read, and the other told.
    let log = place.file("log.csv", format!("{HEADER}{GOOD}"));
    let said = place.run(["import", "nowhere.csv", log.to_str().unwrap()]);
    assert!(said.code == 1 && said.out.contains("1 new"), "{said:?}");
}

#[test]
fn a_long_word_is_not_repeated_over_the_whole_screen() {
    let (place, long) = (good_farm(), "x".repeat(5000));
    let wrong: [&[&str]; 6] = [
        &["cow", &long],
        &[&long],
        &["round", "--at", &long],
        &["round", "--format", &long],
        &["expected", "--animal", &long],
        &["settings", "--zone", &long],
    ];
    for words in wrong {
        let said = place.run(words).refused();
        in_full(&said);
        assert!(said.err.contains("xxx…") && said.err.len() < 400, "{} bytes", said.err.len());
    }
}

/// Ends by itself, without a panic, though nobody reads what it says; gives its exit code.
fn unheard(place: &Place, words: &[&str]) -> Option<i32> {
    let mut child = place.command(words).stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    drop((child.stdout.take(), child.stderr.take()));
    child.wait().unwrap().code()
}

#[test]
fn nobody_listening_breaks_nothing() {
    let place = good_farm();
    let copy = place.dir.path().join("copy");
    let copy = copy.to_str().unwrap();
    for words in [
        &["backup", copy] as &[&str],
        &["restore", copy],
        &["round"],
        &["cow", "214"],
        &["check"],
        &["settings"],
        &["--help"],
        &["demo", "--help"],
    ] {
        assert_eq!(unheard(&place, words), Some(0), "{words:?}");
    }
    for words in [&["rond"] as &[&str], &["cow", "nobody"], &["restore", "/nowhere/file"]] {
        assert_eq!(unheard(&place, words), Some(1), "{words:?}");
    }
    assert!(fs::metadata(copy).is_ok_and(|copy| 0 < copy.len()));
    place.whole();
}

#[test]
fn a_full_disk_under_the_answer_is_told_in_full() {
    let place = good_farm();
    let copy = place.dir.path().join("copy");
    for words in [
        &["round"] as &[&str],
        &["round", "--format", "json"],
        &["round", "--format", "csv"],
        &["expected"],
        &["check"],
        &["backup", copy.to_str().unwrap()],
    ] {
        // A device on which nothing can be written (Linux, full(4)).
        let Ok(full) = File::options().write(true).open("/dev/full") else { return };
        let child = place.command(words).stdout(full).stderr(Stdio::piped()).spawn().unwrap();
        let ended = child.wait_with_output().unwrap();
        let said = String::from_utf8_lossy(&ended.stderr).into_owned();
        assert_eq!(ended.status.code(), Some(1), "{words:?}: {said}");
        in_full(&Answer { code: 1, out: String::new(), err: said });
    }
    place.whole();
}

#[test]
fn a_backup_takes_the_place_of_a_backup_only() {
    let (place, other) = (good_farm(), good_farm());
    let letter = place.file("letter.txt", "to the feed company\n");
    let full = place.dir.path().join("folder");
    fs::create_dir(&full).unwrap();
    let others = other.farm().join("farm.sqlite");
    for (to, why) in [(&letter, "no database"), (&full, "a folder"), (&others, "another farm")] {
        let said = place.run(["backup", to.to_str().unwrap()]).refused();
        said.says(&[to.to_str().unwrap(), "not a backup", why, "left as it is"]);
        in_full(&said);
    }
    assert_eq!(fs::read_to_string(&letter).unwrap(), "to the feed company\n");
    other.whole();
    // What it may replace: nothing, an empty file, its own older backup.
    let copy = place.file("copy", "");
    for _ in 0..2 {
        place.run(["backup", copy.to_str().unwrap()]).done();
    }
    // Half a backup is told apart from a damaged farm.
    let half = fs::read(&copy).unwrap();
    let half = place.file("half", &half[..half.len() / 3]);
    let said = place.run(["restore", half.to_str().unwrap()]).refused();
    said.says(&["half is not a backup", "damaged", "another"]);
    in_full(&said);
    place.whole();
}

#[test]
fn the_walking_order_alone_is_kept() {
    let place = good_farm();
    place.run(["settings", "--pens", "straw, 1,2"]).done().says(&["straw, 1, 2"]);
    assert_eq!(place.json(["settings"])["pens"][0]["name"], "straw");
    place.run(["settings", "--name", "  Hollow Ash "]).done().says(&["  Hollow Ash\n", "straw, 1, 2"]);
}

#[test]
fn a_farm_without_a_name_has_a_whole_heading() {
    let place = good_farm();
    place.run(["settings", "--name", ""]).done();
    let round = place.run(["round"]).done();
    let heading = round.out.lines().next().unwrap();
    assert_eq!(heading, "Round, Monday 2 March, 05:37", "the newest row ends then");
}

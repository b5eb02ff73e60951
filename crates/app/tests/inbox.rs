//! The real program: a watched folder, files brought to its pages, rows mended through them.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;
#[path = "common/served.rs"]
mod served;

use std::{
    fs,
    io::Write,
    net::TcpStream,
    path::PathBuf,
    time::{Duration, Instant},
};

use common::{HEADER, Place};
use serde_json::Value;
use served::Served;

/// A farm with settings and an inbox that is still empty.
fn place() -> (Place, PathBuf) {
    let place = Place::new();
    place.run(["settings", "--zone", "UTC", "--name", "Reed End"]).done();
    let inbox = place.dir.path().join("inbox");
    fs::create_dir(&inbox).unwrap();
    (place, inbox)
}

/// Milkings of a cow from a day on, so many.
fn rows(animal: &str, day: u32, many: u32) -> String {
    (0..many)
        .map(|n| {
            let (day, hour) = (day + n / 3, 4 + 7 * (n % 3));
            format!("{animal},1,2026-02-{day:02}T{hour:02}:00:00Z,2026-02-{day:02}T{hour:02}:07:00Z,milked,11.{n}\n")
        })
        .collect()
}

fn files(records: &Value) -> Vec<(String, Value)> {
    let all = records["files"].as_array().unwrap();
    all.iter().map(|file| (file["file"].as_str().unwrap().to_owned(), file.clone())).collect()
}

fn count(records: &Value) -> usize {
    records["files"].as_array().unwrap().len()
}

#[test]
fn a_folder_is_watched_whatever_lies_in_it() {
    let (place, inbox) = place();
    fs::create_dir(inbox.join("within")).unwrap();
    fs::write(inbox.join("within/visits.csv"), format!("{HEADER}{}", rows("9", 1, 3))).unwrap();
    fs::write(inbox.join(".hidden.csv"), "x").unwrap();
    fs::write(inbox.join("copying.csv.part"), "x").unwrap();
    let served = Served::start(&place, Some(&inbox));

    // A file that grows while it is looked at is read when it has stopped, once, whole.
    let growing = inbox.join("visits.csv");
    fs::write(&growing, HEADER).unwrap();
    let text = rows("214", 1, 30);
    let mut file = fs::OpenOptions::new().append(true).open(&growing).unwrap();
    for piece in text.as_bytes().chunks(text.len() / 12) {
        file.write_all(piece).unwrap();
        file.flush().unwrap();
        assert_eq!(count(&served.json("/api/records")), 0, "read before it was complete");
        std::thread::sleep(Duration::from_millis(120));
    }
    drop(file);
    let records = served.until("the file that grew", |records| count(records) == 1);
    let (name, file) = &files(&records)[0];
    assert_eq!(
        (name.as_str(), &file["read"], &file["new"], &file["way"]),
        ("visits.csv", &30.into(), &30.into(), &"inbox".into())
    );

    // A bad file is told and keeps nothing else waiting.
    fs::write(inbox.join("bad.csv"), "colour,size\nred,3\n").unwrap();
    fs::write(inbox.join("more.csv"), format!("{HEADER}{}", rows("215", 1, 6))).unwrap();
    served.until("the good file beside the bad", |records| {
        files(records).iter().any(|(name, _)| name == "more.csv")
    });
    let records =
        served.until("the bad file", |records| files(records).iter().any(|(name, _)| name == "bad.csv"));
    let bad = files(&records).into_iter().find(|(name, _)| name == "bad.csv").unwrap().1;
    assert!(
        bad["batch"].is_null() && bad["trouble"].as_str().unwrap().contains("no column of any table"),
        "{bad}"
    );
    assert!(!bad["do"].as_str().unwrap().is_empty());

    // The same content again, under another name or after a restart, is nothing new.
    fs::copy(&growing, inbox.join("again.csv")).unwrap();
    std::thread::sleep(Duration::from_millis(1500));
    assert_eq!(count(&served.json("/api/records")), 3);
    drop(served);
    let served = Served::start(&place, Some(&inbox));
    std::thread::sleep(Duration::from_millis(1500));
    assert_eq!(count(&served.json("/api/records")), 3, "read again after a restart");

    // A file that was changed is read again; so is the bad one, mended.
    fs::write(&growing, format!("{HEADER}{text}{}", rows("216", 1, 3))).unwrap();
    fs::write(inbox.join("bad.csv"), format!("{HEADER}{}", rows("217", 1, 3))).unwrap();
    let records = served.until("what was changed", |records| count(records) == 5);
    let grown = files(&records).into_iter().find(|(name, _)| name == "visits.csv").unwrap().1;
    assert_eq!((&grown["read"], &grown["new"], &grown["same"]), (&33.into(), &3.into(), &30.into()));

    // Nothing was moved.
    for name in ["visits.csv", "bad.csv", "more.csv", "again.csv", "within/visits.csv", ".hidden.csv"] {
        assert!(inbox.join(name).exists(), "{name}");
    }
    drop(served);
    place.whole();
}

#[test]
fn a_file_cut_in_the_middle_of_a_row_waits_for_the_rest() {
    let (place, inbox) = place();
    let served = Served::start(&place, Some(&inbox));
    let text = format!("{HEADER}{}", rows("214", 1, 9));
    let file = inbox.join("visits.csv");
    fs::write(&file, &text[..text.len() - 20]).unwrap();
    std::thread::sleep(Duration::from_millis(1500));
    let records = served.json("/api/records");
    assert_eq!(count(&records), 0, "{records:#}");
    assert_eq!(records["inbox"]["waiting"][0], "visits.csv");
    fs::write(&file, &text).unwrap();
    let records = served.until("the whole file", |records| count(records) == 1);
    assert_eq!(records["files"][0]["new"], 9);
    assert_eq!(records["in_quarantine"], 0);
    // What never comes is told after a while, and its whole rows are used.
    fs::write(inbox.join("cut.csv"), &format!("{HEADER}{}", rows("215", 1, 4))[..HEADER.len() + 200])
        .unwrap();
    let records = served.until("the file that stays cut", |records| count(records) == 2);
    assert_eq!(
        (&records["files"][0]["file"], &records["files"][0]["quarantined"]),
        (&"cut.csv".into(), &1.into())
    );
}

#[test]
fn a_folder_that_cannot_be_an_inbox() {
    let (place, _) = place();
    let nowhere = place.dir.path().join("nowhere");
    place
        .run(["serve", "--inbox", nowhere.to_str().unwrap()])
        .refused()
        .says(&["cannot be the inbox", "Do: "]);
    place.run(["serve", "--inbox", place.farm().to_str().unwrap()]).refused().says(&["own folder"]);
}

fn part(name: &str, text: &str) -> String {
    format!("--XX\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\r\n{text}\r\n")
}

#[test]
fn files_are_brought_to_a_page() {
    let (place, _) = place();
    let served = Served::start(&place, None);
    let visits = |animal: &str| {
        format!(
            "{HEADER}{}{animal},1,2026-02-20T04:00:00Z,2026-02-20T04:07:00Z,milked,-3\n",
            rows(animal, 1, 12)
        )
    };

    // Two at once both end well.
    let answers: Vec<(u16, String)> = std::thread::scope(|scope| {
        let sent = ["301", "302", "303"].map(|animal| {
            let body = part(&format!("{animal}.csv"), &visits(animal)) + "--XX--\r\n";
            let served = &served;
            scope.spawn(move || served.ask("POST /records/files", body.as_bytes()))
        });
        sent.into_iter().map(|one| one.join().unwrap()).collect()
    });
    for (status, page) in &answers {
        assert_eq!(*status, 200, "{page}");
        assert!(page.contains("13 read = 12 new + 0 same + 0 replaced + 1 quarantined"), "{page}");
        assert!(page.contains("milk_kg") && page.contains("outside 0 to 60 kg"), "{page}");
    }
    // Again, with what is no log beside it: the sums say so, file by file.
    let body = part("301.csv", &visits("301")) + &part("odd.csv", "colour\nred\n") + "--XX--\r\n";
    let (status, told) = served.ask("POST /api/files", body.as_bytes());
    let told: Value = serde_json::from_str(&told).unwrap();
    assert_eq!(
        (status, &told["files"][0]["same"], &told["files"][0]["quarantined"]),
        (200, &12.into(), &1.into())
    );
    assert!(told["files"][1]["trouble"].as_str().unwrap().contains("no column of any table"));

    // One that breaks off half way leaves nothing: no row, no file, no word on Records.
    let before = served.json("/api/records")["files_in_all"].clone();
    let mut line = TcpStream::connect(&served.address).unwrap();
    let half = part("half.csv", &visits("304"));
    let head = format!(
        "POST /records/files HTTP/1.1\r\nHost: {}\r\nContent-Type: multipart/form-data; boundary=XX\r\nContent-Length: 900000\r\n\r\n",
        served.address
    );
    line.write_all(format!("{head}{half}").as_bytes()).unwrap();
    let uploads = place.farm().join("uploads");
    let began = Instant::now();
    while !uploads.exists() {
        assert!(began.elapsed() < Duration::from_secs(10), "it never landed");
        std::thread::sleep(Duration::from_millis(10));
    }
    drop(line);
    while uploads.exists() {
        assert!(
            began.elapsed() < Duration::from_secs(20),
            "it stays behind: {:?}",
            fs::read_dir(&uploads).map(Iterator::count)
        );
        std::thread::sleep(Duration::from_millis(10));
    }
    assert_eq!(served.json("/api/records")["files_in_all"], before);

    // A row is mended through its form; wrong, it comes back with the reason.
    let entry = served.json("/api/quarantine")["rows"][0]["entry"].clone();
    let at = format!("POST /records/quarantine/{entry}");
    let (status, page) = served.ask(&at, b"cell-5=400");
    assert!(
        status == 422 && page.contains("still cannot be used") && page.contains("value=\"400\""),
        "{page}"
    );
    assert_eq!(served.json("/api/quarantine")["in_quarantine"], 3);
    assert_eq!(served.ask(&at, b"cell-5=12.5").0, 303);
    assert_eq!(served.json("/api/quarantine")["in_quarantine"], 2);
    assert_eq!(served.ask(&at, b"cell-5=12.5").0, 409);
    assert_eq!(served.ask("POST /records/settings", b"zone=Mars%2FOlympus").0, 422);
    assert_eq!(
        served.ask("POST /records/settings", b"name=Hollow&zone=UTC&units=us&breed=&pens=2%2C1").0,
        303
    );
    let settings = served.json("/api/records")["settings"].clone();
    assert_eq!(
        (&settings["name"], &settings["units"], &settings["pens"][0]),
        (&"Hollow".into(), &"us".into(), &"2".into())
    );
    drop(served);
    place.whole();
}

#[test]
fn the_quarantine_by_command() {
    let (place, _) = place();
    let late = "214,1,2026-04-01T04:00:00Z,2026-04-01T04:07:00Z,milked,10\n";
    let log = place.file(
        "visits.csv",
        format!(
            "{HEADER}{}215,1,2026-02-20T04:00:00Z,2026-02-20T04:07:00Z,milked,\"12,5\"\n{late}216,1\n",
            rows("214", 1, 6)
        ),
    );
    place.import([&log]).done();
    let listed = place.json(["quarantine"]);
    assert_eq!(listed["in_quarantine"], 3);
    let entry = |row: usize| listed["rows"][row]["entry"].as_i64().unwrap().to_string();
    assert_eq!((&listed["rows"][0]["line"], &listed["rows"][0]["column"]), (&8.into(), &"milk_kg".into()));
    place.run(["quarantine"]).done().says(&["visits.csv, line 8: milk_kg \"12,5\"", "Do: ", "line 10"]);
    let (head, rows) = common::csv_rows(&place.run(["quarantine", "--format", "csv"]).done().out);
    assert_eq!((head[0].as_str(), rows.len()), ("entry", 3));

    // Wrong words change nothing.
    for words in
        [["mend", "999", "milk_kg=1"], ["mend", &entry(0), "colour=red"], ["mend", &entry(0), "milk_kg"]]
    {
        place.run(["quarantine"].iter().chain(&words)).refused().says(&["nothing was changed", "Do: "]);
    }
    let still = place.run(["quarantine", "mend", &entry(0), "milk_kg=99"]).refused();
    still.says(&["stays in quarantine", "outside 0 to 60 kg"]);
    assert_eq!(place.json(["quarantine"])["in_quarantine"], 3);
    let mended = place.json(["quarantine", "mend", &entry(0), "milk_kg=12.5"]);
    assert_eq!(mended["outcome"], "new");
    place.run(["quarantine", "mend", &entry(0), "milk_kg=12.5"]).done().says(&["mended and taken in before"]);
    // A row that is short of cells is filled up.
    let filled =
        ["started_at=2026-02-21T04:00:00Z", "ended_at=2026-02-21T04:05:00Z", "outcome=milked", "milk_kg=9"];
    place.run(["quarantine", "mend", &entry(2)].iter().chain(&filled)).done().says(&["taken in: new"]);
    place.run(["quarantine", "again"]).done().says(&["0 of 1 rows"]);

    // The future comes.
    let told: Value = serde_json::from_str(&again_later(&place).done().out).unwrap();
    assert_eq!((&told["taken"], &told["left"]), (&1.into(), &0.into()));
    assert_eq!(place.json(["quarantine"])["in_quarantine"], 0);
    // The file as it was, read again, opens nothing that was mended.
    place.import([&log]).done().says(&["3 quarantined"]);
    assert_eq!(place.json(["quarantine"])["in_quarantine"], 0);
    place.whole();
}

#[test]
fn rows_of_the_quarantine_are_no_neighbours() {
    // New York, zone database: on 2 November 2025 the hour from 01:00 came twice. Read together and in this order, the
    // step back would tell which is which; of two files nobody knows.
    let place = Place::new();
    place.run(["settings", "--zone", "America/New_York"]).done();
    let row =
        |minute: u32| format!("214,1,2025-11-02T01:{minute}:00,2025-11-02T01:{}:00,milked,10\n", minute + 7);
    for (name, minute) in [("one/visits.csv", 40), ("two/visits.csv", 20)] {
        fs::create_dir(place.dir.path().join(&name[..3])).unwrap();
        place.import([place.file(name, format!("{HEADER}{}", row(minute)))]).done();
    }
    assert_eq!(place.json(["quarantine"])["in_quarantine"], 2);
    place.run(["quarantine", "again"]).done().says(&["0 of 2 rows"]);
    // With its offset it is told.
    let entry = place.json(["quarantine"])["rows"][0]["entry"].to_string();
    let cells = ["started_at=2025-11-02T01:40:00-04:00", "ended_at=2025-11-02T01:47:00-04:00"];
    place.run(["quarantine", "mend", &entry].iter().chain(&cells)).done().says(&["taken in: new"]);
    place.whole();
}

/// The program with another now: `--now` may be said only once.
fn again_later(place: &Place) -> common::Answer {
    let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_cowpath"));
    command.arg("--farm").arg(place.farm()).args(["--now", "2026-05-01T00:00:00Z"]);
    common::answer(command.args(["quarantine", "again", "--format", "json"]))
}

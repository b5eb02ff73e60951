//! Does a kill at any point of an import leave the whole file or none of it? And does a farm that is served stay open to
//! imports, backups and restores?
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]
#![allow(clippy::disallowed_methods, reason = "a kill is timed by the machine's clock")]

mod common;

use std::{
    fmt::Write as _,
    io::{BufRead, BufReader, Read, Write as _},
    net::TcpStream,
    path::{Path, PathBuf},
    process::{Child, Stdio},
    time::{Duration, Instant},
};

use common::{HEADER, Place};

const ROWS: u64 = 200_000;
const KILLS: u32 = 16;

/// Visits of 400 cows in 4 boxes over 100 days, five a day and cow, each box one after the other.
fn large_log(place: &Place) -> PathBuf {
    let mut log = HEADER.to_owned();
    let begin: jiff::Timestamp = "2025-11-01T00:00:00Z".parse().unwrap();
    for row in 0..ROWS {
        let (box_name, turn) = (row % 4, row / 4);
        let start = begin + jiff::SignedDuration::from_secs((turn * 172) as i64);
        let end = start + jiff::SignedDuration::from_secs(150);
        let cow = turn % 100 * 4 + box_name;
        writeln!(log, "{cow},{box_name},{start},{end},milked,{}.{}", 6 + row * 7 % 9, row * 31 % 10).unwrap();
    }
    place.file("large.csv", log)
}

fn importing(place: &Place, log: &Path) -> Child {
    place
        .command(["import", log.to_str().unwrap(), "--format", "json"])
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// What a kill may leave: the earlier file, with all of the large one or none of it.
fn all_or_none(place: &Place) -> u64 {
    place.whole();
    let store = place.store();
    let rows = store.row_counts().unwrap()["visits"];
    let batches = store.batches().unwrap().len();
    assert!(
        (rows, batches) == (1, 1) || (rows, batches) == (1 + ROWS, 2),
        "{rows} rows in {batches} batches"
    );
    rows
}

#[test]
fn a_kill_leaves_all_or_none() {
    let begin = |place: &Place| {
        let row = "9001,9,2026-03-02T05:30:00Z,2026-03-02T05:37:00Z,milked,9.8\n";
        let small = place.file("small.csv", format!("{HEADER}{row}"));
        place.import([small]).done();
    };
    let first = Place::new();
    let log = large_log(&first);
    begin(&first);
    let began = Instant::now();
    assert!(importing(&first, &log).wait().unwrap().success());
    let takes = began.elapsed();
    assert_eq!(all_or_none(&first), 1 + ROWS);
    let (standing, words) = (first.standing(), first.run(["expected", "--from", "2026-02-20"]).done().out);

    let mut place = Place::new();
    begin(&place);
    let (mut none, mut all) = (0, 0);
    for point in 0..KILLS {
        // Spread over the whole run: opening, reading, writing, sealing.
        let wait = takes.mul_f64((f64::from(point) + 0.5) / f64::from(KILLS));
        let mut child = importing(&place, &log);
        std::thread::sleep(wait);
        child.kill().unwrap();
        child.wait().unwrap();
        let kept = all_or_none(&place);
        if kept == 1 {
            none += 1
        } else {
            all += 1
        }
        // What the kill left behind (a half-written log beside the file) must not stand in the way of the next run; every
        // eighth time, and whenever the whole was kept, it runs to its end.
        if kept != 1 || point % 8 == 7 {
            let taken = place.json(["import", log.to_str().unwrap()]);
            let new = if kept == 1 { ROWS } else { 0 };
            assert_eq!(taken["files"][0]["new"], new, "{taken:#}");
            assert_eq!(taken["files"][0]["same"], ROWS - new, "{taken:#}");
            place.whole();
            assert!(place.standing() == standing);
            place = Place::new();
            begin(&place);
        }
    }
    println!("{KILLS} kills over {takes:?}: {none} left none, {all} left all");
    // How many kills come in time hangs on the machine's other work and is only told; that none did would prove nothing.
    assert!(0 < none, "every kill came too late");
    assert_eq!(place.import([&log]).done().code, 0);
    assert_eq!(place.run(["expected", "--from", "2026-02-20"]).done().out, words);
}

/// `cowpath serve`, ended when it is dropped.
struct Serving {
    child: Child,
    address: String,
}

impl Serving {
    fn start(place: &Place) -> Serving {
        let mut child = place
            .command(["serve", "--listen", "127.0.0.1:0"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut first = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut first).unwrap();
        let address = first.trim().strip_prefix("http://").unwrap().trim_end_matches('/').to_owned();
        Serving { child, address }
    }

    /// Status and body of a page.
    fn get(&self, path: &str) -> (u16, String) {
        let mut stream = TcpStream::connect(&self.address).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
        write!(stream, "GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", self.address).unwrap();
        let mut bytes = Vec::new();
        stream.read_to_end(&mut bytes).unwrap();
        let answer = String::from_utf8_lossy(&bytes).into_owned();
        let status = answer.split(' ').nth(1).unwrap().parse().unwrap();
        (status, answer.split_once("\r\n\r\n").unwrap().1.to_owned())
    }

    fn page(&self, path: &str) -> String {
        let (status, body) = self.get(path);
        assert_eq!(status, 200, "{path}: {body}");
        body
    }
}

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn a_farm_that_is_served_stays_open() {
    let place = Place::demo(20, 1, 20);
    let before = place.json(["round"]);
    let serving = Serving::start(&place);
    assert!(serving.page("/").contains("Sumac Hollow"));
    let animal = place.json(["expected"])[0]["animal"].as_str().unwrap().to_owned();
    for path in ["/round", "/herd", &format!("/cow/{animal}"), "/api/round", &format!("/api/cow/{animal}")] {
        serving.page(path);
    }
    assert_eq!(serving.get("/cow/nobody").0, 404);
    assert_eq!(serving.get("/nowhere").0, 404);
    let api: serde_json::Value = serde_json::from_str(&serving.page("/api/round")).unwrap();
    assert_eq!(api, before, "the page's answer is the terminal's");

    let api: serde_json::Value = serde_json::from_str(&serving.page(&format!("/api/cow/{animal}"))).unwrap();
    assert_eq!(api, place.json(["cow", &animal]));

    let copy = place.dir.path().join("copy.cowpath");
    place.run(["backup", copy.to_str().unwrap()]).done();

    // A large import goes on while pages are asked for; none waits for it, and none sees half of it.
    let log = large_log(&place);
    let mut child = importing(&place, &log);
    let (mut asked, mut slowest) = (0, Duration::ZERO);
    while child.try_wait().unwrap().is_none() {
        let began = Instant::now();
        let herd = serving.page("/herd");
        slowest = slowest.max(began.elapsed());
        asked += 1;
        let of_log = (0..400).filter(|cow| herd.contains(&format!("/cow/{cow}\""))).count();
        assert!(of_log <= 40 || 390 < of_log, "{of_log} cows of the file that is being read");
    }
    assert!(child.wait().unwrap().success());
    println!("{asked} pages during the import, the slowest in {slowest:?}");
    assert!(0 < asked);
    assert!(serving.page("/herd").contains("/cow/399\""), "the new rows are not shown");
    place.whole();

    place.run(["restore", copy.to_str().unwrap()]).done().says(&["What was there before is kept in"]);
    place.whole();
    assert_eq!(place.json(["round"]), before);
    let api: serde_json::Value = serde_json::from_str(&serving.page("/api/round")).unwrap();
    assert_eq!(api, before, "the pages show what was restored");
    drop(serving);
    place.whole();
}

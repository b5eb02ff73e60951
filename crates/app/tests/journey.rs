//! The way of a row: twelve rows of one cow, followed through the steps of `ARCHITECTURE.md`'s table.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::{convert::Infallible, fmt::Write as _, ops::ControlFlow};

use common::{NOW, Place, gzip};
use cowpath_core::{
    causes::{self, CowCourse, Finding, Urgency},
    expect::{Herd, Parameters, Scored, Signal},
    herd::{Life, lives},
    say,
    tables::{Cell, Table, Visit, table},
    time::hour_of_day,
    units::UnitSystem,
};
use cowpath_import::{Issue, IssueKind, Reading, Sink, read_bytes};
use cowpath_store::{Disposition, Farm, Refusal, Source};
use jiff::{Timestamp, tz::TimeZone};

/// Cow 214 is milked twice a day. On the evening of 1 March her left rear quarter gives less and its milk conducts more.
/// One row cannot be used, one is a visit without a milking, one column is of no table.
const LOG: &str = "\
animal,box,started_at,ended_at,outcome,milk_kg,lf_kg,rf_kg,lr_kg,rr_kg,lf_ms_cm,rf_ms_cm,lr_ms_cm,rr_ms_cm,mood
214,2,2026-02-25T05:02:10,2026-02-25T05:09:31,milked,11.9,2.6,2.6,3.4,3.3,5.1,5.2,5.2,5.1,calm
214,2,2026-02-25T17:01:44,2026-02-25T17:08:50,milked,11.7,2.6,2.5,3.3,3.3,5.2,5.1,5.2,5.2,calm
214,2,2026-02-26T05:00:02,2026-02-26T05:07:15,milked,12.1,2.7,2.6,3.4,3.4,5.1,5.2,5.3,5.1,calm
214,2,2026-02-26T17:03:20,2026-02-26T17:10:41,milked,97.2,2.6,2.6,3.3,3.3,5.1,5.1,5.2,5.2,calm
214,2,2026-02-27T05:04:11,2026-02-27T05:11:20,milked,11.8,2.6,2.5,3.4,3.3,5.2,5.2,5.2,5.1,calm
214,2,2026-02-27T17:00:31,2026-02-27T17:07:40,milked,11.8,2.6,2.6,3.3,3.3,5.1,5.1,5.2,5.2,calm
214,2,2026-02-28T05:02:50,2026-02-28T05:10:02,milked,12.0,2.6,2.6,3.4,3.4,5.2,5.2,5.2,5.2,calm
214,2,2026-02-28T11:15:00,2026-02-28T11:16:05,turned-away,,,,,,,,,,calm
214,2,2026-02-28T17:05:05,2026-02-28T17:12:20,milked,11.7,2.6,2.5,3.3,3.3,5.1,5.2,5.2,5.1,calm
214,2,2026-03-01T05:01:18,2026-03-01T05:08:33,milked,11.9,2.6,2.6,3.4,3.3,5.1,5.1,5.3,5.2,calm
214,2,2026-03-01T17:02:00,2026-03-01T17:10:44,milked,10.6,2.5,2.5,2.3,3.3,5.2,5.2,7.0,5.2,restless
214,2,2026-03-02T05:02:10,2026-03-02T05:11:31,milked,9.8,2.5,2.5,1.6,3.2,5.2,5.2,7.6,5.2,restless
";

fn zone() -> TimeZone {
    TimeZone::get("America/Chicago").unwrap()
}

/// Everything that leaves the reader.
#[derive(Default)]
struct Read {
    table: Option<&'static Table>,
    columns: Vec<String>,
    rows: Vec<(u64, Vec<Cell>)>,
    issues: Vec<Issue>,
}

impl Sink for Read {
    type Error = Infallible;

    fn table(&mut self, table: &'static Table, columns: &[String]) -> Result<(), Infallible> {
        (self.table, self.columns) = (Some(table), columns.to_vec());
        Ok(())
    }

    fn row(&mut self, line: u64, cells: &mut Vec<Cell>) -> Result<(), Infallible> {
        self.rows.push((line, cells.clone()));
        Ok(())
    }

    fn issue(&mut self, issue: Issue) -> Result<(), Infallible> {
        self.issues.push(issue);
        Ok(())
    }
}

/// Steps 1 to 3: bytes become typed rows and issues.
fn read() -> Read {
    let mut read = Read::default();
    let counts =
        read_bytes(&gzip(LOG.as_bytes()), &Reading::new(zone(), NOW.parse().unwrap()), &mut read).unwrap();
    assert_eq!((counts.rows_read, counts.rows_refused), (12, 1));
    read
}

/// Step 4: a transaction; its sums.
fn keep(read: &Read, farm: &mut Farm) -> String {
    let declared = read.table.unwrap();
    let source = Source {
        file: "visits.csv.gz".into(),
        content: [1; 32],
        table: declared,
        zone: "America/Chicago".into(),
        map: String::new(),
        now: NOW.parse().unwrap(),
        columns: read.columns.iter().filter_map(|word| declared.index(word)).collect(),
    };
    let mut batch = farm.begin(&source).unwrap();
    for (line, cells) in &read.rows {
        assert_eq!(batch.row(*line, cells).unwrap(), Disposition::New);
    }
    for issue in read.issues.iter().filter(|issue| issue.kind == IssueKind::RowRefused) {
        let word = |word: &Option<String>| word.clone().unwrap();
        let refusal = Refusal {
            line: issue.line.unwrap(),
            column: word(&issue.column),
            value: word(&issue.value),
            reason: issue.reason.clone(),
            remedy: issue.remedy.clone(),
            raw: word(&issue.raw),
        };
        batch.refuse(&refusal).unwrap();
    }
    let sums = batch.finish().unwrap().sums;
    assert_eq!(farm.check().unwrap(), []);
    format!(
        "read {} = new {} + same {} + replaced {} + quarantined {}",
        sums.read, sums.new, sums.same, sums.replaced, sums.quarantined
    )
}

/// Steps 5 and 6: visits in the order they ended, and what was expected of each milking before it.
fn expect(farm: &Farm) -> (Vec<Life>, Herd, Vec<Scored>) {
    let lives =
        lives(&farm.numbers().unwrap(), &farm.animal_rows().unwrap(), &farm.event_rows().unwrap(), &zone());
    let mut visits: Vec<Visit> = Vec::new();
    farm.visits(Timestamp::MIN..Timestamp::MAX, &mut |number, visit| {
        visits.push(Visit { life: lives[number as usize].key, ..*visit });
        ControlFlow::Continue(())
    })
    .unwrap();
    visits.sort_by_key(|visit| visit.ended_at);
    let mut herd = Herd::new(Parameters::prior());
    let scored = visits
        .iter()
        .filter_map(|visit| {
            let stage = lives[visit.life.0 as usize].stage(visit.started_at);
            herd.take(visit, &stage, hour_of_day(visit.started_at, &zone()))
        })
        .collect();
    (lives, herd, scored)
}

/// Steps 7 and 8: probability of each cause, and what is worth a look.
fn judge(life: &Life, herd: &Herd, milkings: &[Scored]) -> (Vec<Finding>, Vec<Finding>) {
    let settings = causes::Settings::default();
    let at = milkings.last().unwrap().ended_at;
    let course = CowCourse {
        life: life.key,
        at,
        her: causes::Background::of_stage(life.stage(at)),
        milkings,
        lines: &[],
        began: cowpath_core::signals::Began::default(),
        unsettled_since: herd.unsettled_since(life.key),
        trouble_since: herd.trouble_since(life.key),
    };
    let findings = causes::judge_cow(&course, &settings);
    (findings.clone(), causes::cut(findings, &settings))
}

/// Lines with the spaces that keep a figure and its unit together as plain ones, to be compared with what is typed.
fn shown_as(lines: &[&str]) -> String {
    lines.join("\n").replace(['\u{a0}', '\u{202f}'], " ")
}

#[test]
fn twelve_rows_become_a_sentence() {
    // 1, 2, 3: the file is packed, its table told by its header, its cells typed; what cannot be used is an issue.
    let read = read();
    assert_eq!(read.table.unwrap().name, "visits");
    let issues: Vec<String> = read
        .issues
        .iter()
        .map(|issue| {
            let word = |word: &Option<String>| word.clone().unwrap_or_default();
            let line = issue.line.map_or("-".to_owned(), |line| line.to_string());
            format!("{line} {} {}: {}", word(&issue.column), word(&issue.value), issue.reason)
        })
        .collect();
    insta::assert_snapshot!(issues.join("\n"), @r"
    1 mood : not a column of `visits`
    5 milk_kg 97.2: outside 0 to 60 kg
    ");
    let lines: Vec<u64> = read.rows.iter().map(|(line, _)| *line).collect();
    assert_eq!(lines, [2, 3, 4, 6, 7, 8, 9, 10, 11, 12, 13]);
    let visits = table("visits").unwrap();
    let cell = |row: usize, column: &str| read.rows[row].1[visits.index(column).unwrap()].clone();
    assert_eq!(cell(10, "milk_kg"), Cell::Number(9.8));
    assert_eq!(cell(10, "started_at"), Cell::Time("2026-03-02T05:02:10-06:00".parse().unwrap()));
    assert_eq!(cell(6, "milk_kg"), Cell::Missing, "turned away: not measured, which is not zero");
    assert_eq!(cell(10, "weight_kg"), Cell::Missing);

    // 4: one transaction; the sums add up.
    let place = Place::new();
    place.run(["settings", "--zone", "America/Chicago", "--name", "Home farm"]).done();
    let mut farm = place.store();
    insta::assert_snapshot!(keep(&read, &mut farm), @"read 12 = new 11 + same 0 + replaced 0 + quarantined 1");

    // 5, 6: expected before each milking was seen.
    let (lives, herd, milkings) = expect(&farm);
    let mut expected = String::new();
    for one in &milkings {
        let lr = |signal| {
            one.departures
                .iter()
                .find(|departure| {
                    departure.signal == signal && departure.quarter.is_some_and(|q| q.code() == "LR")
                })
                .map_or("-".to_owned(), |departure| {
                    format!("{:.1} for {:.1}", departure.observed, departure.expected)
                })
        };
        assert!(one.low95_kg < one.expected_kg && one.expected_kg < one.high95_kg);
        writeln!(
            expected,
            "{} milk {:.1} for {:.0}{}, LR share {}, LR mS/cm {}",
            zone().to_datetime(one.ended_at),
            one.observed_kg.unwrap(),
            one.expected_kg,
            if one.scored { "" } else { " not scored" },
            lr(Signal::QuarterMilk),
            lr(Signal::Conductivity),
        )
        .unwrap();
    }
    insta::assert_snapshot!(expected, @r"
    2026-02-25T05:09:31 milk 11.9 for 14 not scored, LR share -, LR mS/cm -
    2026-02-25T17:08:50 milk 11.7 for 17 not scored, LR share -, LR mS/cm -
    2026-02-26T05:07:15 milk 12.1 for 14, LR share 28.1 for 28.1, LR mS/cm 5.3 for 5.2
    2026-02-27T05:11:20 milk 11.8 for 11, LR share 28.8 for 28.2, LR mS/cm 5.2 for 5.3
    2026-02-27T17:07:40 milk 11.8 for 13, LR share 28.0 for 28.1, LR mS/cm 5.2 for 5.3
    2026-02-28T05:10:02 milk 12.0 for 13, LR share 28.3 for 28.3, LR mS/cm 5.2 for 5.3
    2026-02-28T17:12:20 milk 11.7 for 12, LR share 28.2 for 28.3, LR mS/cm 5.2 for 5.3
    2026-03-01T05:08:33 milk 11.9 for 12, LR share 28.6 for 28.3, LR mS/cm 5.3 for 5.3
    2026-03-01T17:10:44 milk 10.6 for 12, LR share 21.7 for 28.0, LR mS/cm 7.0 for 5.4
    2026-03-02T05:11:31 milk 9.8 for 12, LR share 16.3 for 28.2, LR mS/cm 7.6 for 5.4
    ");

    // 7, 8: which causes, how sure, worth a look or not.
    let (findings, shown) = judge(&lives[0], &herd, &milkings);
    let causes: Vec<String> = findings
        .iter()
        .map(|finding| {
            let quarter = finding.quarter.map_or("-", |quarter| quarter.code());
            format!(
                "{} {quarter} {:.2} since {}",
                finding.cause.word(),
                finding.probability,
                zone().to_datetime(finding.since)
            )
        })
        .collect();
    insta::assert_snapshot!(causes.join("\n"), @"
    udder LR 1.00 since 2026-03-01T08:01:29
    heat - 0.02 since 2026-03-02T02:02:08
    ");
    assert_eq!(shown.len(), 1);
    assert_eq!(shown[0].urgency, Urgency::Now);

    // 9: the sentence.
    let finding = &shown[0];
    let at = milkings.last().unwrap().ended_at;
    let since: Vec<Timestamp> =
        milkings.iter().filter(|one| finding.since <= one.ended_at).map(|one| one.started_at).collect();
    let zone = zone();
    let facts = say::call::Facts {
        animal: Some("214"),
        box_name: None,
        at,
        zone: &zone,
        units: UnitSystem::Metric,
        days_in_milk: None,
        may_be_in_tank: &since,
        held_by_log: &[],
        destination_logged: false,
        diagnosed_at: None,
        in_calf: false,
        inseminated_at: None,
        noted_at: None,
    };
    let said = say::call::call(finding, &facts);
    insta::assert_snapshot!(shown_as(&[&said.sentence, &said.action, &said.why]), @r"
    214: left rear looks inflamed, over 99 % sure.
    Keep her milk out of the tank until someone has looked. Bring her in and strip left rear.
    Since yesterday 08:01, maybe since yesterday 05:27; the milkings of yesterday 17:02 and today 05:02 may be in the tank: the log does not say. Conductivity 7.6, usually 5.4 mS/cm; half of that quarter's share of the milk is missing.
    ");

    // 10, 11: the program says the same of the same farm, as a struct, as text and as CSV.
    drop(farm);
    let round = place.json(["round"]);
    assert_eq!(round["calls"].as_array().unwrap().len(), 1, "{round:#}");
    let call = &round["calls"][0];
    assert_eq!(call["sentence"], said.sentence);
    assert_eq!(call["do"], said.action);
    assert_eq!((&call["quarter"], &call["why"]), (&"LR".into(), &said.why.as_str().into()));
    for format in ["text", "csv"] {
        place.run(["round", "--format", format]).done().says(&[&said.sentence, &said.action]);
    }
    // On a farm that thinks in pounds the words change and the figures for programs do not.
    place.run(["settings", "--units", "us"]).done();
    let us = place.json(["round"]);
    let figures = |round: &serde_json::Value| {
        let reasons = round["calls"][0]["reasons"].as_array().unwrap().clone();
        reasons
            .iter()
            .map(|one| ["observed", "expected", "unit", "weight"].map(|name| one[name].clone()))
            .collect::<Vec<_>>()
    };
    assert_eq!(figures(&us), figures(&round));
    assert!(us["calls"][0]["reasons"].to_string().contains("lb"), "{us:#}");
    place.run(["settings", "--units", "metric"]).done();
    insta::assert_snapshot!(shown_as(&[&place.run(["round"]).done().out]), @r"
    Round, Monday 2 March, 05:11: Home farm
    One thing to look at.

    No pen on record
      [now] 214: left rear looks inflamed, over 99 % sure.
            Keep her milk out of the tank until someone has looked. Bring her in and strip left rear.
            Since yesterday 08:01, maybe since yesterday 05:27; the milkings of yesterday 17:02 and today 05:02 may be in the tank: the log does not say. Conductivity 7.6, usually 5.4 mS/cm; half of that quarter's share of the milk is missing.

    ! A hot, hard quarter or a cow that will not eat: call the veterinarian now.
    ! Watery, bloody or clotted milk is not sold. Treated milk stays out of the tank as the label and the veterinarian say.

    The herd's own habits are not fitted yet: that takes the first week or two of rows. Until then the calls rest on published figures.

    One visit of the latest logs is in quarantine, and what it tells is not in this round: a cow may look unmilked by it. Records says what is wrong.
    ");
}

#[test]
fn the_program_reads_the_same_rows() {
    let place = Place::new();
    place.run(["settings", "--zone", "America/Chicago", "--name", "Home farm"]).done();
    let file = place.file("visits.csv.gz", gzip(LOG.as_bytes()));
    let taken = place.json(["import", file.to_str().unwrap()]);
    assert_eq!(taken["files"][0]["new"], 11);
    assert_eq!(taken["files"][0]["quarantined"], 1);
    let by_hand = Place::new();
    by_hand.run(["settings", "--zone", "America/Chicago", "--name", "Home farm"]).done();
    keep(&read(), &mut by_hand.store());
    assert!(place.standing() == by_hand.standing());
    assert_eq!(place.json(["round"]), by_hand.json(["round"]));
    place.whole();
}

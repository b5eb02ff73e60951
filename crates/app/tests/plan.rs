//! `cowpath plan`: on stated defaults, on a farm's own log, in all formats, and what cannot be.

#![allow(clippy::unwrap_used, reason = "helpers of tests")]

mod common;

use std::ffi::OsStr;

use common::{Answer, Place};
use serde_json::Value;

/// The program where there is no farm.
fn bare<W: AsRef<OsStr>>(words: impl IntoIterator<Item = W>) -> Answer {
    Place::new().run(words)
}

/// A plan without a farm, as JSON.
fn stated(words: &[&str]) -> Value {
    let all: Vec<&str> = [&["plan", "--stated", "--format", "json"], words].concat();
    serde_json::from_str(&bare(all).done().out).unwrap()
}

#[test]
fn the_same_seed_gives_the_same_answer_and_another_another() {
    let words = ["--cows", "60,65", "--boxes", "1", "--replicates", "4", "--days", "20"];
    let (once, again) = (stated(&words), stated(&words));
    assert_eq!(once, again);
    let other = stated(&[&words[..], &["--seed", "2"]].concat());
    assert_ne!(once["scenarios"], other["scenarios"]);
    assert_eq!(once["replicates"], 4);
    let figures = &once["scenarios"][0]["rows"][0]["figures"];
    let sum: f64 =
        ["idle", "occupied", "closed"].iter().map(|name| figures[name]["mean"].as_f64().unwrap()).sum();
    assert!((sum - 1.0).abs() < 1e-9, "{sum}");
    let milkings = &figures["milkings"];
    assert!(
        milkings["low"].as_f64() < milkings["mean"].as_f64()
            && milkings["mean"].as_f64() < milkings["high"].as_f64()
    );
}

#[test]
fn questions_are_answered_in_sentences() {
    let sentences = |words: &[&str]| -> String {
        let plan = stated(&[&["--replicates", "5", "--days", "20"], words].concat());
        plan["sentences"]
            .as_array()
            .unwrap()
            .iter()
            .map(|one| one.as_str().unwrap().to_owned())
            .collect::<Vec<_>>()
            .join("\n")
    };
    let more = sentences(&["--cows", "50-80/5", "--boxes", "1", "--instead", "boxes=2"]);
    for part in [
        "1\u{a0}box holds",
        "of box time stays idle",
        "irst to give way",
        "instead 2\u{a0}boxes",
        "\u{a0}kg (",
        "\u{a0}USD (",
        ") a day",
    ] {
        assert!(more.contains(part), "{part}: {more}");
    }
    let hours =
        sentences(&["--cows", "60", "--boxes", "1", "--instead", "fetch=6/14/22 feed=8/16 pushes=none"]);
    assert!(
        hours.contains(
            "people fetch at 06:00, 14:00 and 22:00; fresh feed at 08:00 and 16:00; feed pushed never"
        ),
        "{hours}"
    );
    let fresh = sentences(&["--cows", "110", "--boxes", "2", "--instead", "boxes=3 fresh-pen=30/1"]);
    assert!(fresh.contains("cows up to day 30 in a pen with 1\u{a0}box of their own"), "{fresh}");
    let shorter = sentences(&["--cows", "60", "--boxes", "1", "--instead", "shortest=-1"]);
    assert!(shorter.contains("shortest intervals 1.0 h shorter"), "{shorter}");
    let parlour = sentences(&["--cows", "60", "--boxes", "1", "--parlour", "2"]);
    for part in [
        "From 2 milkings a day in the parlour",
        "a cow and day",
        "\u{a0}USD (",
        "1\u{a0}box costs ",
        "The first weeks",
        "at first at most 120 a day, which is 10 hours of work",
    ] {
        assert!(parlour.contains(part), "{part}: {parlour}");
    }
    let hours = sentences(&["--cows", "60", "--boxes", "1", "--parlour", "5/17"]);
    assert!(
        hours.contains("From 2 milkings") && hours.contains("at the hours they know, 05:00 and 17:00"),
        "{hours}"
    );
    let full = sentences(&["--cows", "120", "--boxes", "1"]);
    assert!(
        full.contains("1\u{a0}box cannot hold 120\u{a0}cows")
            && full.contains("First to give way, at 120\u{a0}cows: the idle reserve"),
        "{full}"
    );
}

/// Every question of a change is answered in milk and in money, each with its interval.
#[test]
fn each_answer_has_kilograms_and_money_with_intervals() {
    for instead in
        ["boxes=2", "fetch=6/14/22", "feed=6/16", "pushes=5/8/11/14/17/20", "shortest=+1", "traffic=guided"]
    {
        let plan = stated(&[
            "--cows",
            "55-65/5",
            "--boxes",
            "1",
            "--replicates",
            "4",
            "--days",
            "15",
            "--instead",
            instead,
        ]);
        let told = plan["sentences"].as_array().unwrap().iter().map(|one| one.as_str().unwrap());
        let told: Vec<&str> = told.filter(|one| one.contains(", instead ")).collect();
        assert_eq!(told.len(), 1, "{plan}");
        for unit in ["\u{a0}kg (", "\u{a0}USD ("] {
            let interval = told[0].split(unit).nth(1).unwrap_or_else(|| panic!("{unit}: {told:?}"));
            assert!(interval.split(')').next().unwrap().contains(" to "), "{told:?}");
        }
    }
    let fresh = stated(&[
        "--cows",
        "100-120/10",
        "--boxes",
        "2",
        "--replicates",
        "3",
        "--days",
        "10",
        "--instead",
        "fresh-pen=30/1",
    ]);
    assert!(fresh["differences"][1]["money"]["low"].is_number());
}

/// What the cows that fit bring is what the rows of the same answer say, straight between the sizes tried.
#[test]
fn how_many_more_cows_and_what_they_bring_agree_with_the_rows() {
    let place = Place::demo(60, 1, 40);
    let plan = place.json([
        "plan",
        "--cows",
        "30-80/5",
        "--replicates",
        "4",
        "--days",
        "20",
        "--instead",
        "visit=6",
    ]);
    let now = plan["cows_now"].as_u64().unwrap();
    let number = |value: &Value| value.as_f64().unwrap();
    let at = |scenario: &Value, cows: u64, of: &dyn Fn(&Value) -> f64| {
        let rows = scenario["rows"].as_array().unwrap();
        let size = |row: &Value| row["cows"].as_u64().unwrap();
        let right = rows.iter().position(|row| cows <= size(row)).unwrap().max(1);
        let (low, high) = (&rows[right - 1], &rows[right]);
        let part = (cows - size(low)) as f64 / (size(high) - size(low)) as f64;
        of(low) + part * (of(high) - of(low))
    };
    let scenarios = plan["scenarios"].as_array().unwrap();
    let from =
        [(&scenarios[0], now), (&scenarios[0], scenarios[0]["capacity"]["mean"].as_f64().unwrap() as u64)];
    for (scenario, (other, from)) in scenarios.iter().zip(from) {
        let beyond = &scenario["beyond"];
        let to = beyond["to"].as_u64().unwrap();
        assert_eq!(
            (beyond["from"].as_u64().unwrap(), to),
            (from, number(&scenario["capacity"]["mean"]) as u64)
        );
        for (name, of) in [
            (
                "milk_kg",
                &(|row: &Value| number(&row["figures"]["milk-box-kg"]["mean"])) as &dyn Fn(&Value) -> f64,
            ),
            ("money", &|row: &Value| number(&row["money"]["mean"])),
        ] {
            let expected = at(scenario, to, of) - at(other, from, of);
            let got = number(&beyond[name]["mean"]);
            assert!((got - expected).abs() < 1e-6 * expected.abs().max(1.0), "{name}: {got} {expected}");
            assert!(number(&beyond[name]["low"]) <= got && got <= number(&beyond[name]["high"]));
        }
    }
    let first = plan["sentences"][0].as_str().unwrap();
    assert!(first.contains(&format!("than the {now} now")), "{first}");
    assert!(
        plan["sentences"][1].as_str().unwrap().contains(&format!("instead of {now}: ")),
        "{}",
        plan["sentences"]
    );
}

#[test]
fn a_farm_s_own_log_goes_in_and_is_held_beside_it() {
    let place = Place::demo(60, 1, 60);
    let plan = place.json(["plan", "--cows", "45,55", "--replicates", "5"]);
    assert_eq!(plan["fitted"], true);
    assert_eq!(plan["basis"], "28 days of the farm’s own log");
    let beside = plan["beside"].as_array().unwrap();
    assert!(6 < beside.len());
    for one in beside
        .iter()
        .filter(|one| ["milkings a cow-day", "mean interval, h"].contains(&one["what"].as_str().unwrap()))
    {
        let (observed, simulated) = (one["observed"].as_f64().unwrap(), one["simulated"].as_f64().unwrap());
        assert!((simulated / observed - 1.0).abs() < 0.1, "{one}");
    }
    let told = place.json(["plan", "--foretell", "20"]);
    assert!((told["foretold_days"].as_f64().unwrap() - 20.0).abs() < 0.1, "{told}");
    place.run(["plan", "--foretell", "200"]);
    place.whole();
}

#[test]
fn too_few_days_are_said_and_stated_defaults_stand_in() {
    let place = Place::demo(60, 1, 4);
    let plan = place.json(["plan", "--cows", "60", "--replicates", "3", "--days", "10"]);
    assert_eq!((&plan["fitted"], &plan["basis"]), (&Value::Bool(false), &Value::from("stated defaults")));
    assert!(plan["notes"][0].as_str().unwrap().contains("at least 7 are needed"), "{}", plan["notes"]);
}

#[test]
fn what_cannot_be_exits_with_one() {
    for (words, says) in [
        (vec!["--cows", "60", "--boxes", "0"], "there is no box to milk in"),
        (vec!["--cows", "0", "--boxes", "1"], "there is no cow to milk"),
        (vec!["--cows", "x"], "is no herd size"),
        (vec!["--cows", "60-900/5"], "169 herd sizes are more than 120: take larger steps"),
        (vec!["--cows", "60", "--boxes", "61"], "61 boxes in one pen are more than 60"),
        (vec!["--cows", "60", "--with", "shortest=9 longest=8"], "cows may not be milked before 9 h"),
        (vec!["--cows", "60", "--with", "fetch=2"], "no round of people lies between"),
        (vec!["--cows", "60", "--with", "colour=red"], "nothing of a scenario is called `colour`"),
        (vec!["--cows", "60", "--instead", "fresh-pen=30/1"], "boxes of the pen for fresh cows"),
        (vec!["--cows", "60", "--replicates", "0"], "at least one replicate"),
        (vec!["--cows", "20000", "--boxes", "60", "--days", "2000"], "would take hours"),
        (vec!["--cows", "60", "--try", "idle=200"], "idle must be 0 to 90"),
        (vec!["--cows", "60", "--parlour", "9"], "a parlour milks 1 to 4 times a day"),
        (vec!["--cows", "60", "--parlour", "1/2/3/4/5"], "a parlour milks 1 to 4 times a day"),
        (vec![], "--cows"),
    ] {
        let answer = bare([&["plan", "--stated"], &words[..]].concat());
        assert_eq!(answer.code, 1, "{words:?}: {answer:?}");
        assert!(answer.err.contains(says) && answer.err.contains("Do:"), "{words:?}: {}", answer.err);
        assert!(answer.out.is_empty(), "{answer:?}");
    }
}

#[test]
fn csv_has_a_row_a_figure() {
    let out = bare([
        "plan",
        "--stated",
        "--cows",
        "60,70",
        "--boxes",
        "1",
        "--instead",
        "boxes=2",
        "--replicates",
        "3",
        "--days",
        "5",
        "--format",
        "csv",
    ])
    .done()
    .out;
    assert!(out.starts_with("scenario,boxes,cows,figure,mean,low95,high95\n"), "{out}");
    assert_eq!(out.lines().count(), 1 + 2 * 2 * 23);
}

//! Does `cowpath validate` keep the contract of commands, give the same figures again, and leave no farm behind?
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{Place, csv_rows};

/// As few cows and days as still have a round, a call or a case.
const SMALL: [&str; 11] =
    ["validate", "--herds", "2", "--seed", "1", "--cows", "12", "--boxes", "1", "--days", "12"];

fn with(more: &[&str]) -> Vec<String> {
    SMALL.iter().chain(more).map(|word| (*word).to_owned()).collect()
}

#[test]
fn the_same_words_give_the_same_figures_in_every_format() {
    let place = Place::new();
    let page =
        place.file("page.md", "a\n<!-- simulated-herds: begin -->\nold\n<!-- simulated-herds: end -->\nz\n");
    let page_words = page.display().to_string();
    let text = place.run(with(&["--write", &page_words])).done();
    assert!(text.out.contains("false cow calls for 100 cow-days"), "{text:?}");
    assert!(text.err.contains("Herd of seed 2"), "{text:?}");
    let written = std::fs::read_to_string(&page).unwrap();
    assert_eq!(
        written,
        format!("a\n<!-- simulated-herds: begin -->\n{}<!-- simulated-herds: end -->\nz\n", text.out)
    );
    let json = place.json(with(&[]));
    assert_eq!(json["herds"]["seeds"], serde_json::json!([1, 2]));
    let rows = json["rows"].as_array().unwrap();
    let (header, cells) = csv_rows(&place.run(with(&["--format", "csv"])).done().out);
    assert_eq!(rows.len(), cells.len());
    let what = header.iter().position(|name| name == "what").unwrap();
    for (row, cells) in rows.iter().zip(&cells) {
        assert_eq!(row["what"].as_str(), Some(&*cells[what]));
        assert!(text.out.contains(&cells[what]), "{cells:?}");
        if let (Some(low), Some(value), Some(high)) =
            (row["low95"].as_f64(), row["value"].as_f64(), row["high95"].as_f64())
        {
            assert!(low <= value && value <= high, "{row}");
        }
    }
    assert!(!place.farm().exists(), "a farm was made or touched");
}

#[test]
fn a_signal_left_out_is_named_and_a_wrong_one_refused() {
    let place = Place::new();
    let json = place.json(with(&["--without", "movement", "--without", "conductivity"]));
    assert_eq!(json["herds"]["without"], serde_json::json!(["movement", "conductivity"]));
    // Without its column the rule on conductivity has nothing to say.
    let rule = json["rules"].as_array().unwrap().iter().find(|rule| rule["kinds"][0] == "udder").unwrap();
    assert_eq!(rule["rule_curve"][0]["false_calls"]["count"], 0);
    place.run(with(&["--without", "tail"])).refused().says(&["tail", "conductivity"]);
    place.run(with(&["--without", "kicks", "--ablation"])).refused();
}

#[test]
fn a_page_without_the_place_is_said_before_the_herds_are_heard() {
    let place = Place::new();
    let page = place.file("page.md", "nothing here\n");
    let said = place.run(with(&["--write", &page.display().to_string()])).refused();
    assert!(said.out.is_empty() && !said.err.contains("Herd of seed"), "{said:?}");
    assert_eq!(std::fs::read_to_string(&page).unwrap(), "nothing here\n");
}

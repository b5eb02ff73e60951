//! What notes say of a cow's breeding, and what a later one takes back.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use cowpath_core::herd::EventRow;
use jiff::{SignedDuration, Timestamp};

use super::{Breeding, noted_by};

/// Her breeding on a morning, after events so many days before it: kind, detail, days.
fn after(notes: &[(&str, &str, f64)]) -> Breeding {
    let at: Timestamp = "2026-03-02T10:30:00Z".parse().unwrap();
    let ago = |days: f64| at.checked_sub(SignedDuration::from_secs((86_400.0 * days) as i64)).unwrap();
    let events: Vec<EventRow> = notes
        .iter()
        .map(|(kind, detail, days)| EventRow {
            animal: "214".into(),
            at: ago(*days),
            kind: (*kind).into(),
            quarter: None,
            detail: (!detail.is_empty()).then(|| (*detail).into()),
            value: None,
            until: None,
            note: None,
        })
        .collect();
    let breeding = noted_by(events.iter(), at);
    assert_eq!(
        breeding.noted_now(at).is_some(),
        notes.iter().any(|(kind, _, days)| *kind != "pregnancy-check" && *days < 2.0)
    );
    breeding
}

const CHECKED: [(&str, &str, f64); 2] = [("inseminated", "", 60.0), ("pregnancy-check", "pregnant", 25.0)];

#[test]
fn a_heat_noted_of_a_cow_in_calf_leaves_the_record_and_raises_the_doubt() {
    let sure = after(&CHECKED);
    assert!(sure.in_calf && !sure.open);
    let doubted = after(&[CHECKED[0], CHECKED[1], ("heat", "", 0.4)]);
    // She is to be checked before she is served.
    assert!(doubted.in_calf && doubted.open);
    let served = after(&[CHECKED[0], CHECKED[1], ("heat", "", 0.6), ("inseminated", "", 0.2)]);
    assert!(!served.in_calf && !served.open);
    let again = after(&[CHECKED[0], CHECKED[1], ("heat", "", 9.0), ("pregnancy-check", "pregnant", 3.0)]);
    assert!(again.in_calf && !again.open);
}

#[test]
fn a_check_that_finds_her_open_ends_the_doubt_of_a_service() {
    let served = after(&[("inseminated", "", 30.0)]);
    assert!(!served.open && !served.in_calf);
    let open = after(&[("inseminated", "", 40.0), ("pregnancy-check", "open", 9.0)]);
    assert!(open.open && !open.in_calf);
    let unsaid = after(&[("inseminated", "", 40.0), ("pregnancy-check", "recheck", 9.0)]);
    assert!(!unsaid.open && !unsaid.in_calf);
}

#[test]
fn a_heat_of_these_days_is_told_from_the_one_before_it() {
    let twice = after(&[("heat", "", 21.5), ("inseminated", "", 21.0), ("heat", "", 0.3)]);
    let days = |then: Option<Timestamp>| {
        let at: Timestamp = "2026-03-02T10:30:00Z".parse().unwrap();
        then.map(|then| at.duration_since(then).as_secs_f64() / 86_400.0)
    };
    assert_eq!((days(twice.heat_before), days(twice.heat_at)), (Some(21.0), Some(0.3)));
    let once = after(&[("heat", "", 0.3)]);
    assert_eq!(once.heat_before, None);
}

//! A day split by hand, and the odd days.

use crate::{
    minutes::ledger::{Ledger, Row, State, Stay, Use, ledger, whole_seconds},
    tables::Outcome,
};

const DAY_MS: i64 = 86_400_000;
const SILENT_MS: i64 = 7_200_000;

fn stay(from_s: i64, to_s: i64, outcome: Outcome) -> Stay {
    Stay {
        cow: 1,
        from: from_s * 1000,
        to: to_s * 1000,
        attached: None,
        outcome: Some(outcome),
        gave: true,
        flow_s: [None; 4],
    }
}

fn seconds(ledger: &Ledger, of: Use) -> i64 {
    ledger.day().of(of) / 1000
}

#[test]
fn a_milking_is_split_by_its_quarters() {
    let own = Stay {
        attached: Some(1_090_000),
        flow_s: [Some(200.0), Some(180.0), Some(240.0), Some(300.0)],
        ..stay(1_000, 1_460, Outcome::Milked)
    };
    let day = ledger(&[0, DAY_MS], &[own], &[], SILENT_MS);
    assert_eq!(seconds(&day, Use::Preparing), 90);
    assert_eq!(seconds(&day, Use::MilkFlow), 240);
    assert_eq!(seconds(&day, Use::LastQuarter), 60);
    assert_eq!(seconds(&day, Use::Leaving), 70);
    assert_eq!(seconds(&day, Use::Idle), 86_400 - 460);
    // Without the first cup the same sums, but handling is one.
    let day = ledger(&[0, DAY_MS], &[Stay { attached: None, ..own }], &[], SILENT_MS);
    assert_eq!((seconds(&day, Use::Handling), seconds(&day, Use::MilkFlow)), (160, 240));
    assert_eq!((seconds(&day, Use::LastQuarter), day.unsplit_ms), (60, 0));
}

#[test]
fn what_the_logs_do_not_split_is_told() {
    let own = Stay { attached: Some(1_090_000), ..stay(1_000, 1_460, Outcome::Milked) };
    let day = ledger(&[0, DAY_MS], &[own], &[], SILENT_MS);
    assert_eq!((seconds(&day, Use::Preparing), seconds(&day, Use::MilkFlow)), (90, 370));
    assert_eq!(day.unsplit_ms, 370_000);
    let unsaid = Stay { outcome: None, gave: false, ..own };
    let day = ledger(&[0, DAY_MS], &[unsaid], &[], SILENT_MS);
    assert_eq!((seconds(&day, Use::Handling), day.unsplit_ms), (460, 460_000));
}

#[test]
fn rows_that_share_time_are_counted_once_and_named() {
    let stays = [
        stay(1_000, 1_400, Outcome::TurnedAway),
        stay(1_300, 1_600, Outcome::Failed),
        stay(1_350, 1_380, Outcome::Fed),
    ];
    let states = [
        State { what: Use::Fault, from: 900_000, to: 2_000_000 },
        State { what: Use::Cleaning, from: 1_900_000, to: 2_100_000 },
        State { what: Use::Service, from: 3_000_000, to: 2_900_000 },
    ];
    let day = ledger(&[0, DAY_MS], &stays, &states, SILENT_MS);
    assert_eq!((seconds(&day, Use::TurnedAway), seconds(&day, Use::Failed)), (400, 200));
    assert_eq!((seconds(&day, Use::FedOnly), seconds(&day, Use::Fault)), (0, 500));
    assert_eq!((seconds(&day, Use::Cleaning), seconds(&day, Use::Service)), (100, 0));
    assert_eq!(day.backwards, [Row::State(2)]);
    let shared: Vec<_> = day.shared.iter().map(|own| (own.from, own.to, own.given, own.claimed)).collect();
    assert_eq!(
        shared,
        [
            (1_000_000, 1_400_000, Row::Stay(0), Row::State(0)),
            (1_300_000, 1_400_000, Row::Stay(0), Row::Stay(1)),
            (1_350_000, 1_380_000, Row::Stay(0), Row::Stay(2)),
            (1_400_000, 1_600_000, Row::Stay(1), Row::State(0)),
            (1_900_000, 2_000_000, Row::State(0), Row::State(1)),
        ]
    );
    // From 00:35 to midnight no row of the box.
    assert_eq!(day.gaps, [(2_100_000, DAY_MS)]);
}

#[test]
fn a_visit_across_midnight_is_split_there() {
    let own = Stay {
        attached: Some(-60_000),
        flow_s: [Some(120.0), Some(100.0), None, None],
        ..stay(-120, 90, Outcome::Milked)
    };
    let before = ledger(&[-DAY_MS, 0], &[own], &[], SILENT_MS);
    let after = ledger(&[0, DAY_MS], &[own], &[], SILENT_MS);
    assert_eq!((seconds(&before, Use::Preparing), seconds(&before, Use::MilkFlow)), (60, 60));
    assert_eq!((seconds(&after, Use::MilkFlow), seconds(&after, Use::LastQuarter)), (40, 20));
    assert_eq!(seconds(&after, Use::Leaving), 30);
}

#[test]
fn seconds_are_whole_and_add_up() {
    assert_eq!(whole_seconds([1_500, 1_500, 0, 86_397_000]), [2, 1, 0, 86_397]);
    assert_eq!(whole_seconds([333, 333, 334]), [0, 0, 1]);
    assert_eq!(whole_seconds([0, 0]), [0, 0]);
}

//! Laws of the store: the order and the split of files do not matter, reading twice changes nothing, sums add up.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{assert_whole, begin, farm, read, set_aside, source, standing, visit};
use cowpath_core::tables::Cell;
use cowpath_store::{Farm, Refusal, Sums};
use proptest::prelude::*;

/// Visits of three cows in three boxes around three midnights, some of them hours long: most overlap something.
fn visits() -> impl Strategy<Value = Vec<Vec<Cell>>> {
    let start = (0_i64..3, -80_i64..80).prop_map(|(day, minute)| day * 1440 + minute);
    let minutes = prop_oneof![8 => 0_i64..30, 1 => 200_i64..360];
    prop::collection::vec((0_usize..3, 0_usize..3, start, minutes), 0..40).prop_map(|drawn| {
        let mut rows: Vec<Vec<Cell>> = Vec::new();
        for (cow, milking_box, from, minutes) in drawn {
            let row = visit(["7", "12", "120"][cow], ["2", "1", "10"][milking_box], from, minutes, 9.5);
            // Rows of one key that differ are an order that counts; they have a test of their own.
            if rows.iter().all(|other| other[..3] != row[..3]) {
                rows.push(row);
            }
        }
        rows
    })
}

/// The rule of overlaps said the slow way: over all visits of a cow at once.
fn by_the_rule(rows: &[Vec<Cell>]) -> (Vec<Vec<Cell>>, usize) {
    let text = |row: &Vec<Cell>, column: usize| row[column].text().expect("text").to_owned();
    let time = |row: &Vec<Cell>, column: usize| row[column].time().expect("time").as_millisecond();
    let mut sorted = rows.to_vec();
    sorted.sort_by_key(|row| (time(row, 2), text(row, 1)));
    let mut stand: Vec<Vec<Cell>> = Vec::new();
    for row in sorted {
        let meets = stand.iter().filter(|other| other[0] == row[0]).any(|other| {
            let other_free = time(other, 3).max(time(other, 2) + 1);
            time(&row, 2) < other_free
        });
        if !meets {
            stand.push(row);
        }
    }
    stand.sort_by_key(|row| (time(row, 2), text(row, 0), text(row, 1)));
    let aside = rows.len() - stand.len();
    (stand, aside)
}

fn add(sums: &mut Sums, more: Sums) {
    assert_eq!(more.read, more.new + more.same + more.replaced + more.quarantined);
    sums.read += more.read;
    sums.new += more.new;
    sums.quarantined += more.quarantined;
}

/// Reads rows in batches that end at the given places.
fn read_split(farm: &mut Farm, rows: &[Vec<Cell>], cuts: &[usize]) -> Sums {
    let mut sums = Sums::default();
    let mut from = 0;
    for cut in cuts.iter().copied().chain([rows.len()]) {
        let until = cut.clamp(from, rows.len());
        add(&mut sums, read(farm, "visits", &rows[from..until]).sums);
        from = until;
    }
    sums
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 96, ..ProptestConfig::default() })]

    #[test]
    fn any_order_and_any_split_give_the_same_farm(
        (rows, shuffled) in visits().prop_flat_map(|rows| (Just(rows.clone()), Just(rows).prop_shuffle())),
        mut cuts in prop::collection::vec(0_usize..40, 0..5),
    ) {
        cuts.sort_unstable();
        let (expected, aside) = by_the_rule(&rows);
        let (_a, mut whole) = farm();
        let sums = read(&mut whole, "visits", &rows).sums;
        prop_assert_eq!((sums.read, sums.quarantined), (rows.len() as u64, aside as u64));
        let (_b, mut parts) = farm();
        let sums = read_split(&mut parts, &shuffled, &cuts);
        prop_assert_eq!(sums.read, rows.len() as u64);
        for one in [&whole, &parts] {
            prop_assert_eq!(standing(one, "visits"), expected.clone());
            prop_assert_eq!(set_aside(one).len(), aside);
            assert_whole(one);
        }
        prop_assert_eq!(set_aside(&whole), set_aside(&parts));
        prop_assert_eq!(whole.numbers().unwrap(), parts.numbers().unwrap());
        prop_assert_eq!(whole.boxes().unwrap(), parts.boxes().unwrap());
    }

    #[test]
    fn read_twice_is_read_once(rows in visits(), cut in 0_usize..40) {
        let (_folder, mut farm) = farm();
        let first = read(&mut farm, "visits", &rows).sums;
        let (stood, aside) = (standing(&farm, "visits"), set_aside(&farm));
        let part = &rows[cut.min(rows.len())..];
        read(&mut farm, "visits", part);
        let again = read(&mut farm, "visits", &rows).sums;
        prop_assert_eq!((again.new, again.replaced, again.displaced, again.freed), (0, 0, 0, 0));
        prop_assert_eq!((again.same, again.quarantined), (first.new, first.quarantined));
        prop_assert_eq!(standing(&farm, "visits"), stood);
        prop_assert_eq!(set_aside(&farm), aside);
        assert_whole(&farm);
    }

    /// A visit's end is mended, which may set others aside or free them: what counts is the last row of each key.
    #[test]
    fn mended_visits_settle_like_new_ones(rows in visits(), longer in prop::collection::vec(0_i64..60, 40)) {
        let (_a, mut mended) = farm();
        read(&mut mended, "visits", &rows);
        let after: Vec<Vec<Cell>> = rows.iter().zip(&longer).map(|(row, minutes)| {
            let mut row = row.clone();
            let from_ms = row[2].time().unwrap().as_millisecond();
            row[3] = Cell::Time(jiff::Timestamp::from_millisecond(from_ms + minutes * 60_000).unwrap());
            row
        }).collect();
        let sums = read(&mut mended, "visits", &after).sums;
        prop_assert_eq!(sums.new, 0);
        prop_assert_eq!(sums.read, sums.same + sums.replaced + sums.quarantined);
        let (expected, aside) = by_the_rule(&after);
        prop_assert_eq!(standing(&mended, "visits"), expected);
        prop_assert_eq!(set_aside(&mended).len(), aside);
        assert_whole(&mended);
    }
}

#[test]
fn refused_rows_are_kept_once_and_counted_each_time() {
    let (_folder, mut farm) = farm();
    let refusal = Refusal {
        line: 4,
        column: "milk_kg".into(),
        value: "-3".into(),
        reason: "it is outside 0 to 60 kg".into(),
        remedy: "mend it".into(),
        raw: "214,2,…,-3".into(),
    };
    for _ in 0..2 {
        let mut batch = farm.begin(&source("visits", "a.csv", 1)).unwrap();
        batch.row(2, &visit("214", "2", 0, 7, 9.8)).unwrap();
        batch.refuse(&refusal).unwrap();
        batch.refuse(&Refusal { column: "box".into(), ..refusal.clone() }).unwrap();
        let sums = batch.finish().unwrap().sums;
        assert_eq!((sums.read, sums.new + sums.same, sums.quarantined), (2, 1, 1));
    }
    let kept = farm.quarantined(0, 10).unwrap();
    assert_eq!(kept.iter().filter(|row| row.column == "milk_kg").count(), 1);
    assert_eq!((kept[0].line, kept[0].value.as_str(), kept[0].file.as_str()), (4, "-3", "a.csv"));
    assert_whole(&farm);
}

#[test]
fn what_a_later_reading_of_the_same_file_accepts_is_mended() {
    let (_folder, mut farm) = farm();
    let future = Refusal {
        line: 3,
        column: "started_at".into(),
        value: "2026-03-02".into(),
        reason: "it is in the future".into(),
        remedy: "read the file again then".into(),
        raw: "7,1,2026-03-02,…".into(),
    };
    let mut batch = farm.begin(&source("visits", "a.csv", 9)).unwrap();
    batch.refuse(&future).unwrap();
    batch.finish().unwrap();
    assert_eq!(farm.quarantine_counts().unwrap(), (1, 0));
    let mut batch = farm.begin(&source("visits", "renamed.csv", 9)).unwrap();
    batch.row(3, &visit("7", "1", 10, 5, 8.0)).unwrap();
    batch.finish().unwrap();
    assert_eq!(farm.quarantine_counts().unwrap(), (0, 0));
    assert_whole(&farm);
}

#[test]
fn a_dropped_batch_leaves_nothing() {
    let (_folder, mut farm) = farm();
    let mut batch = farm.begin(&source("visits", "a.csv", 1)).unwrap();
    batch.row(2, &visit("7", "1", 10, 5, 8.0)).unwrap();
    drop(batch);
    assert!(farm.batches().unwrap().is_empty());
    assert!(farm.numbers().unwrap().is_empty());
    assert_eq!(farm.row_counts().unwrap()["visits"], 0);
    assert_eq!(farm.last_row_at().unwrap(), None);
    assert!(farm.recall("made_at").unwrap().is_some_and(|at| at.starts_with("2026-03-01")));
    let _ = begin();
}

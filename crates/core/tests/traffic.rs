//! The simulated pen against a plain twin without machinery, against published herds, and its laws.

#![allow(clippy::panic, clippy::unwrap_used, reason = "helpers of tests")]

#[path = "traffic/twin.rs"]
mod twin;

use std::sync::atomic::AtomicBool;

use cowpath_core::{
    minutes::terms::Terms,
    traffic::{
        Bounds, Change, Counted, Days, Drawn, Fault, Figure, Gathered, Limit, Pen, Ready, Room, Setup,
        Spread, Tables, Traffic, capacity, money_day, run, streams::Stream,
    },
};
use proptest::prelude::*;

fn counted(pen: &Pen, days: f64, replicate: u32) -> Counted {
    let (tables, mut room, stop) = (Tables::of(pen), Room::default(), AtomicBool::new(false));
    let days = Days { warm_up: 3.0, counted: days };
    run(pen, &tables, days, (1, replicate), &mut room, &stop).unwrap().clone()
}

fn gathered(setup: &Setup, replicates: u32, days: f64) -> Gathered {
    let ready = Ready::of(setup.scenario().unwrap());
    let (mut room, stop) = (Room::default(), AtomicBool::new(false));
    let mut gathered = Gathered::default();
    for replicate in 0..replicates {
        let days = Days { counted: days, ..Days::default() };
        gathered.add(&ready.replicate(days, (1, replicate), &mut room, &stop).unwrap());
    }
    gathered
}

#[test]
fn default_coming_is_that_of_published_herds() {
    // Peiter et al. 2019: 57.6 cows a box, 2.8 milkings and 1.15 turned away a cow and day (`docs/sources.md` §1).
    let gathered = gathered(&Setup::usual(115, 2), 20, 60.0);
    let (milkings, away) = (gathered.mean(Figure::Milkings), gathered.mean(Figure::TurnedAway));
    assert!((milkings.mean - 2.8).abs() < 0.03, "{milkings:?}");
    assert!((away.mean - 1.15).abs() < 0.06, "{away:?}");
}

#[test]
fn a_plain_twin_counts_the_same() {
    for (cows, boxes, traffic) in [(60, 1, Traffic::Free), (130, 2, Traffic::Free), (70, 1, Traffic::Guided)]
    {
        let mut pen = Pen::usual(cows, boxes, traffic, Drawn::default());
        // In one of them cows are let in again for milk that was left behind.
        pen.service.again_share = if boxes == 2 { 0.08 } else { 0.0 };
        let (mut own, mut twins) = ([Spread::default(); 7], [Spread::default(); 7]);
        for replicate in 0..16 {
            let counted = counted(&pen, 40.0, replicate);
            let plain = twin::simulate(&pen, 43.0, 3.0, u64::from(replicate) + 77);
            let of = [
                counted.figure(Figure::Milkings),
                counted.figure(Figure::TurnedAway),
                counted.figure(Figure::MilkCow),
                counted.figure(Figure::Interval),
                counted.figure(Figure::Wait),
                counted.figure(Figure::Idle),
                counted.figure(Figure::Brought),
            ];
            for place in 0..7 {
                own[place].add(of[place]);
                twins[place].add(plain[place]);
            }
        }
        for (place, what) in
            ["milkings", "turned away", "milk", "interval", "wait", "idle", "fetched"].into_iter().enumerate()
        {
            let (own, twin) = (own[place], twins[place]);
            let off = own.mean().mean - twin.mean().mean;
            let error = own.error().hypot(twin.error());
            println!(
                "{cows} cows, {boxes} boxes: {what} {:.4}, twin {:.4}, {:+.1} errors",
                own.mean().mean,
                twin.mean().mean,
                off / error
            );
            assert!(off.abs() < 4.0 * error.max(1e-4), "{cows} cows: {what} {own:?}, twin {twin:?}");
        }
    }
}

#[test]
fn seconds_of_a_box_add_up() {
    for (cows, boxes) in [(1, 1), (40, 1), (200, 1), (180, 3)] {
        let counted = counted(&Pen::usual(cows, boxes, Traffic::Free, Drawn::default()), 20.0, 0);
        let sum =
            counted.figure(Figure::Idle) + counted.figure(Figure::Occupied) + counted.figure(Figure::Closed);
        assert!((sum - 1.0).abs() < 1e-9);
        let idle = counted.figure(Figure::Idle);
        assert!((-1e-9..=1.0).contains(&idle), "{cows} cows, {boxes} boxes: {idle}");
        assert_eq!(counted.visits, counted.milkings + counted.turned_away + counted.failed);
    }
}

#[test]
fn more_boxes_never_wait_longer_on_the_same_chance() {
    let mut last = f64::INFINITY;
    for boxes in 1..=4 {
        let wait = gathered(&Setup::usual(100, boxes), 8, 30.0).mean(Figure::Waiting);
        assert!(wait.mean <= last, "{boxes} boxes: {wait:?} after {last}");
        last = wait.mean;
    }
}

#[test]
fn the_same_chance_makes_a_difference_sharper() {
    let few = gathered(&Setup::usual(118, 2), 20, 30.0);
    let many = gathered(&Change::read("fetch=6/12/18").unwrap().of(&Setup::usual(118, 2)), 20, 30.0);
    let paired = many.beyond(&few, |own| own[Figure::Milkings as usize]).half();
    let apart = many.mean(Figure::Milkings).half().hypot(few.mean(Figure::Milkings).half());
    assert!(paired < apart, "paired {paired}, apart {apart}");
}

#[test]
fn longer_shortest_intervals_turn_more_away() {
    let as_is = gathered(&Setup::usual(110, 2), 8, 30.0);
    let longer = gathered(&Change::read("shortest=+1").unwrap().of(&Setup::usual(110, 2)), 8, 30.0);
    assert!(0.0 < longer.beyond(&as_is, |own| own[Figure::TurnedAway as usize]).low);
    assert!(longer.beyond(&as_is, |own| own[Figure::Milkings as usize]).high < 0.0);
}

#[test]
fn which_limit_gives_way_is_said() {
    let full = gathered(&Setup::usual(150, 1), 3, 20.0);
    let gave = Bounds::default().exceeded(&full, 1);
    assert_eq!(gave, [Limit::Idle, Limit::LongIntervals, Limit::Waiting, Limit::People]);
    let easy = gathered(&Setup::usual(40, 1), 3, 20.0);
    assert_eq!(Bounds::default().exceeded(&easy, 1), []);
    // Milk pays, a box costs.
    let figures = easy.mean(Figure::MilkBox).mean;
    let money = easy.of(|own| money_day(&Terms::default(), own, 1)).mean;
    assert!(money < figures * 0.33 && figures * 0.33 - 65.0 < money, "{money}");
}

#[test]
fn capacity_lies_between_the_sizes_tried() {
    let sizes: Vec<(usize, Gathered)> =
        [50, 60, 70].map(|cows| (cows, gathered(&Setup::usual(cows, 1), 6, 30.0))).into();
    let of: Vec<(usize, &Gathered)> = sizes.iter().map(|(cows, own)| (*cows, own)).collect();
    let fit = capacity(&of, 0.1).unwrap();
    assert!(50.0 < fit.mean && fit.mean < 70.0, "{fit:?}");
    assert_eq!(capacity(&of, 0.95), None);
}

#[test]
fn a_cancelled_run_ends() {
    let pen = Pen::usual(100, 1, Traffic::Free, Drawn::default());
    let (tables, mut room, stop) = (Tables::of(&pen), Room::default(), AtomicBool::new(true));
    assert!(run(&pen, &tables, Days { warm_up: 1.0, counted: 1e6 }, (1, 0), &mut room, &stop).is_none());
}

#[test]
fn faults_are_named() {
    let fault = |words: &str| Change::read(words).unwrap().of(&Setup::usual(60, 1)).scenario().unwrap_err();
    assert_eq!(fault("boxes=0"), Fault::NoBoxes);
    assert_eq!(fault("cows=0"), Fault::NoCows);
    assert!(matches!(fault("shortest=9 longest=8"), Fault::Contradiction { .. }));
    assert!(matches!(fault("fetch=2"), Fault::NoRound(..)));
    assert!(matches!(fault("fresh-pen=30/1"), Fault::Range { .. }));
    for words in ["boxes=x", "nothing", "fetch=25", "milk=-3", "shortest=1/2", "traffic=sideways", "udder=2"]
    {
        assert!(Change::read(words).is_err(), "{words}");
    }
}

#[test]
fn streams_of_two_seeds_and_names_are_apart() {
    let mut starts: Vec<u64> = (0..50)
        .flat_map(|seed| ["coming", "comings", "milking"].map(|name| Stream::named(seed, name, 0, 1).word()))
        .chain((2..50).map(|number| Stream::named(0, "coming", 0, number).word()))
        .chain((1..50).map(|replicate| Stream::named(0, "coming", replicate, 1).word()))
        .collect();
    let all = starts.len();
    starts.sort_unstable();
    starts.dedup();
    assert_eq!(starts.len(), all);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn the_same_seed_gives_the_same_counts(
        cows in 1_usize..150, boxes in 1_usize..5, seed in 0_u64..1000, guided in any::<bool>()
    ) {
        let traffic = if guided { Traffic::Guided } else { Traffic::Free };
        let pen = Pen::usual(cows, boxes, traffic, Drawn::default());
        let (tables, stop) = (Tables::of(&pen), AtomicBool::new(false));
        let days = Days { warm_up: 1.0, counted: 5.0 };
        let mut room = Room::default();
        let once = run(&pen, &tables, days, (seed, 3), &mut room, &stop).unwrap().clone();
        // Room that served another pen, and new room, give the same.
        run(&Pen::usual(33, 2, Traffic::Free, Drawn::default()), &tables, days, (seed, 4), &mut room, &stop).unwrap();
        let again = run(&pen, &tables, days, (seed, 3), &mut room, &stop).unwrap().clone();
        prop_assert_eq!(&once, &again);
        let mut fresh = Room::default();
        prop_assert_eq!(&once, run(&pen, &tables, days, (seed, 3), &mut fresh, &stop).unwrap());
        prop_assert!(0.0 <= once.figure(Figure::Idle) + 1e-9);
        prop_assert_eq!(once.visits, once.milkings + once.turned_away + once.failed);
    }
}

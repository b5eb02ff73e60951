//! What a rough look leaves out would not have been shown, and what it does not leave out stays as it is.

use super::made::{Case, Chance, Making, known, line, made, settings};
use crate::{
    causes::{CowCourse, Finding, cut, judge::judge_from, judge_cow},
    expect::Signal,
    signals::Line,
};

/// What the rough look did to the chances of many courses.
#[derive(Debug, Default)]
struct Told {
    /// Calls that are shown without it, and courses of which other ones are shown with it.
    shown: usize,
    otherwise: usize,
    /// The most that a chance moved by that it did not leave out.
    moved: f64,
    /// Courses of which anything was named with it and without it.
    named: u32,
    named_by_all: u32,
}

impl Told {
    fn take(&mut self, course: &CowCourse) {
        let with = judge_cow(course, &settings());
        let without = judge_from(course, &settings(), 0.0);
        self.named += u32::from(!with.is_empty());
        self.named_by_all += u32::from(!without.is_empty());
        for own in &with {
            let full =
                without.iter().find(|full| full.cause == own.cause).map_or(0.0, |full| full.probability);
            self.moved = self.moved.max((own.probability - full).abs());
        }
        let shown = |findings: Vec<Finding>| -> Vec<_> {
            cut(findings, &settings()).into_iter().map(|own| (own.cause, own.quarter)).collect()
        };
        let (with, without) = (shown(with), shown(without));
        self.shown += without.len();
        self.otherwise += usize::from(with != without);
    }

    /// So many were shown at least, and all of them stay as they were.
    fn hold(&self, least: usize) {
        println!("{self:?}");
        assert!(least <= self.shown && self.otherwise == 0 && self.moved < 0.02, "{self:?}");
        assert!(self.named < self.named_by_all, "it leaves nothing out: {self:?}");
    }
}

#[test]
fn of_milk_and_quarters_nothing_likely_is_left_out() {
    let mut told = Told::default();
    for seed in 0..60 {
        let mut chance = Chance::new(900 + seed);
        let mut making = Making::well(16.0);
        if seed % 2 == 0 {
            making.case = Some(Case::drawn(&mut chance, 24.0 * 12.0));
        }
        let milkings = made(&mut chance, &making);
        for hour in [250.0, 290.0, 300.0, 310.0, 330.0, 380.0] {
            told.take(&known(&milkings, hour));
        }
    }
    told.hold(50);
}

/// By so much each signal is moved at a course's height: of a heat, and of a cow that is off her feed or lame.
const MOVED: [(Signal, i64, f64, [f64; 3]); 5] = [
    (Signal::Activity, 4, 0.25, [0.8, -0.15, -0.3]),
    (Signal::Rumination, 8, 0.15, [-0.2, -0.3, 0.0]),
    (Signal::Eating, 8, 0.2, [-0.1, -0.3, -0.3]),
    (Signal::Feed, 12, 0.1, [0.0, -0.4, 0.0]),
    (Signal::Visits, 24, 0.3, [0.0, -0.2, -0.2]),
];

#[test]
fn of_other_signals_nothing_likely_is_left_out() {
    let mut told = Told::default();
    for seed in 0..800 {
        let mut chance = Chance::new(7_000 + seed);
        let milkings = made(&mut chance, &Making::well(16.0));
        let mut course = known(&milkings, 300.0);
        // One in four is well; what moves her is weak in some and strong in others, began at any time, and may have passed.
        let kind = (seed % 4) as usize;
        let size = if kind == 3 { 0.0 } else { 0.3 + 1.2 * chance.even() };
        let began_h = 200.0 * chance.even();
        let lasts_h = if kind == 0 { 10.0 + 8.0 * chance.even() } else { 24.0 + 200.0 * chance.even() };
        let lines: Vec<Line> = MOVED
            .iter()
            .map(|(signal, block_h, noise, by)| {
                // Her standing is off too, as it is told to be.
                let off = 0.05 * chance.normal();
                let moved = |back: f64| {
                    let on = back < began_h && began_h - lasts_h <= back;
                    off + if on { size * by.get(kind).copied().unwrap_or(0.0) } else { 0.0 }
                };
                line(&mut chance, course.at, *signal, *block_h, *noise, moved)
            })
            .collect();
        course.lines = &lines;
        told.take(&course);
    }
    told.hold(100);
}

//! Of many boxes those that are sound are not asked again and again: the answer is the same.

use super::{
    super::{BoxLog, Boxes, meter},
    made::hours_on,
};
use crate::{
    causes::{Settings, tests::made::Chance},
    expect::{BIN_MS, BoxBin, Sum},
    herd::BoxKey,
};

/// Bins of forty days.
const BINS: i64 = 160;
/// Milkings of each, and what one strays by, log.
const READINGS: u32 = 14;
const SD: f64 = 0.12;

/// Courses of boxes, every fourth to eighth of them off by 3 to 15 % from some day on.
fn courses(chance: &mut Chance, boxes: u16) -> Vec<(BoxKey, Vec<BoxBin>)> {
    let each = 4 + (5.0 * chance.even()) as u16;
    let course = |key: u16| {
        let size = if key % each == each - 1 { 0.03 + 0.12 * chance.even() } else { 0.0 };
        let size = if chance.even() < 0.5 { size } else { -size };
        let from = (BINS as f64 * chance.even()) as i64;
        let strays = 0.01 * chance.normal();
        let bins = (0..BINS).map(|place| {
            let off = if from <= place { size } else { 0.0 };
            let mean = off + strays + SD / f64::from(READINGS).sqrt() * chance.tailed();
            let weight = f64::from(READINGS) / (SD * SD);
            let milk = Sum { weight, value: weight * mean, readings: READINGS };
            let from_ms = hours_on(0.0).as_millisecond() + place * BIN_MS;
            BoxBin { from_ms, milk, ..BoxBin::default() }
        });
        (BoxKey(key), bins.collect())
    };
    (0..boxes).map(course).collect()
}

#[test]
fn sound_boxes_that_are_not_asked_again_would_say_the_same() {
    let mut chance = Chance::new(401);
    let at = hours_on(6.0 * BINS as f64);
    let (log, settings) = (BoxLog::new(), Settings::default());
    let mut off = 0;
    for boxes in [3, 4, 6, 8, 9, 12, 16, 20, 24, 36] {
        for _ in 0..3 {
            let courses = courses(&mut chance, boxes);
            let boxes = Boxes {
                at,
                known_until: at,
                courses: &courses,
                herd: &[],
                log: &log,
                stood: &[],
                pickups: &[],
                stuck: &[],
            };
            let asked = |sound_below| meter::many(&boxes, courses.iter().collect(), sound_below, &settings);
            let (again, once) = (asked(0.0), asked(meter::SOUND_BELOW));
            assert_eq!(once, again, "{} boxes", courses.len());
            off += once.len();
        }
    }
    assert!(40 < off, "{off} are off");
}

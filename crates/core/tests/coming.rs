//! Laws of who comes by herself, on herds whose truth is known because they are drawn here, and of the list's order.
#![allow(clippy::unwrap_used, reason = "tests")]

use cowpath_core::{
    coming::{
        self, Ahead, Candidate, Course, Fits, Half, Limits, Open, Seen, What,
        ahead::chances,
        fit::{Frailty, frailty},
        halves::{self, HALF_MS},
        limits::{Hers, Why},
        list::{Room, bring},
    },
    herd::{Calving, Life, LifeKey},
    time::WallClock,
};
use jiff::{SignedDuration, Timestamp, tz::TimeZone};
use proptest::prelude::*;

const KAPPA: f64 = 0.042;

fn start() -> Timestamp {
    "2026-01-05T00:00:00Z".parse().unwrap()
}

fn after(hours: f64) -> Timestamp {
    start().checked_add(SignedDuration::from_millis((hours * 3.6e6) as i64)).unwrap()
}

fn clock() -> WallClock {
    WallClock::new(TimeZone::UTC)
}

fn life(number: u32) -> Life {
    Life {
        key: LifeKey(number),
        animal: number.to_string(),
        instance: 0,
        from: None,
        until: None,
        official_id: None,
        breed: None,
        born_on: None,
        calvings: vec![Calving { at: after(-2400.0), parity: Some(2) }],
        dried_off: Vec::new(),
        pens: Vec::new(),
    }
}

fn milked(hours: f64) -> Seen {
    Seen {
        from: after(hours - 0.12),
        to: after(hours),
        what: What::Milked,
        milk_kg: Some(10.0),
        offered_kg: None,
        eaten_kg: None,
    }
}

/// A stream of numbers 0 to 1: splitmix64.
struct Draw(u64);

impl Draw {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// Weibull of shape 4: a cow's own interval passes `hours` more, having lasted `since`, with this chance.
fn truth(scale: f64, since: f64, hours: f64) -> f64 {
    1.0 - ((since / scale).powi(4) - ((since + hours) / scale).powi(4)).exp()
}

fn scale(number: u32) -> f64 {
    8.0 + f64::from(number % 5)
}

/// Cows of Weibull intervals over so many days, of any shape; brought at six in the morning when 12 h have passed, where `fetched`.
fn cows(count: u32, days: f64, shape: f64, fetched: bool, seed: u64) -> Vec<(Life, Vec<Seen>)> {
    (0..count)
        .map(|number| {
            let mut draw = Draw(seed * 1000 + u64::from(number));
            let mut visits = vec![milked(draw.unit() * 8.0)];
            let mut last = f64::NAN;
            while last.is_nan() || last < 24.0 * days {
                let begun =
                    (visits.last().unwrap().to.as_millisecond() - start().as_millisecond()) as f64 / 3.6e6;
                let mut next = begun + scale(number) * (-draw.unit().max(1e-12).ln()).powf(1.0 / shape);
                let six = ((begun + 12.0 - 6.0) / 24.0).ceil() * 24.0 + 6.0 + 0.4 * draw.unit();
                if fetched && six < next {
                    next = six;
                }
                visits.push(milked(next.max(begun + 0.2)));
                last = next;
            }
            (life(number), visits)
        })
        .collect()
}

fn halves_of(herd: &[(Life, Vec<Seen>)], until: f64) -> Vec<Vec<Half>> {
    let walk = |(life, visits): &(Life, Vec<Seen>)| {
        let course = Course { life, pen: 0, visits: visits.clone(), brought: Vec::new() };
        let mut all = Vec::new();
        halves::walk(&course, &Open::default(), &mut clock(), KAPPA, (start(), after(until)), &mut |half| {
            all.push(*half);
        });
        all
    };
    herd.iter().map(walk).collect()
}

/// Chances of a cow at a time.
fn looked(fits: &Fits, life: &Life, visits: &[Seen], at: Timestamp) -> (coming::Chances, f64) {
    let course = Course { life, pen: 0, visits: visits.to_vec(), brought: Vec::new() };
    let mut all = Vec::new();
    let state = halves::walk(&course, &Open::default(), &mut clock(), KAPPA, (start(), at), &mut |half| {
        all.push(*half)
    });
    let since_h = (at.as_millisecond() - state.since.unwrap().as_millisecond()) as f64 / 3.6e6;
    let ahead = Ahead { state: &state, frailty: frailty(fits, &all), stage: life.stage(at), lame: 0.0 };
    (chances(&ahead, fits, KAPPA, &mut clock(), at).unwrap(), since_h)
}

#[test]
fn a_herd_of_known_hazard_is_foretold_on_days_it_was_not_fitted_to() {
    let herd = cows(40, 40.0, 4.0, false, 7);
    let fits = coming::fit(&halves_of(&herd, 28.0 * 24.0), &Fits::prior());
    // Stated and true chance, by what is stated.
    let mut bins = [(0.0, 0.0, 0.0); 5];
    let (mut off, mut count) = (0.0, 0.0);
    for step in 0..40 {
        let at = after(29.0 * 24.0 + 6.3 * f64::from(step));
        for (life, visits) in &herd {
            let (own, since_h) = looked(&fits, life, visits, at);
            for hours in [2.0, 4.0, 8.0] {
                let (stated, known) = (own.alone_within(hours), truth(scale(life.key.0), since_h, hours));
                let bin = &mut bins[((stated * 5.0) as usize).min(4)];
                *bin = (bin.0 + stated, bin.1 + known, bin.2 + 1.0);
                off += (stated - known).abs();
                count += 1.0;
            }
        }
    }
    for (stated, known, n) in bins {
        assert!((stated - known).abs() < 0.06 * n, "stated {} true {} ({n})", stated / n, known / n);
    }
    assert!(off / count < 0.08, "mean gap to the true chance {}", off / count);
}

#[test]
fn what_comes_at_one_hour_among_the_overdue_is_taken_for_brought() {
    let fetched = coming::fit(&halves_of(&cows(60, 28.0, 2.0, true, 3), 28.0 * 24.0), &Fits::prior());
    let free = coming::fit(&halves_of(&cows(60, 28.0, 2.0, false, 3), 28.0 * 24.0), &Fits::prior());
    // Slots of 11 to 13 and 13 to 16 h overdue.
    let at_six = fetched.brought_h[24 + 6].max(fetched.brought_h[48 + 6]);
    let other: f64 =
        (0..24).filter(|hour| *hour != 6).map(|hour| fetched.brought_h[24 + hour]).sum::<f64>() / 23.0;
    assert!(4.0 * other < at_six, "at six {at_six}, else {other}");
    assert!(
        free.brought_h.iter().all(|f| *f < 0.5 * at_six),
        "where nobody is brought: {:?}",
        free.brought_h
    );
    let half = |hour: f64| Half {
        since_h: 12.5,
        of_usual: 1.3,
        other_h: None,
        failed: false,
        milk_kg: None,
        feed_kg: None,
        hour,
        days: Some(120.0),
        first: Some(false),
        open_h: 0.5,
        came: false,
    };
    let (with, without) = (fetched.hazard_h(&half(6.2)), free.hazard_h(&half(6.2)));
    assert!((with / without).ln().abs() < 0.5, "her own coming at six: {with} and {without}");
}

#[test]
fn later_rows_change_nothing_of_what_is_known_before() {
    let herd = cows(3, 10.0, 4.0, false, 5);
    for (life, visits) in &herd {
        let at = after(100.0);
        let known: Vec<Seen> = visits.iter().filter(|visit| visit.to <= at).copied().collect();
        let fits = Fits::prior();
        assert_eq!(looked(&fits, life, visits, at), looked(&fits, life, &known, at));
    }
}

#[test]
fn feed_that_is_not_logged_is_not_no_feed() {
    let mut half = halves_of(&cows(1, 2.0, 4.0, false, 1), 20.0)[0][5];
    let mut fits = Fits::prior();
    for weight in &mut fits.weights {
        *weight += 0.1;
    }
    let hazard = |fits: &Fits, half: &Half| fits.hazard_h(half);
    half.feed_kg = None;
    let without = hazard(&fits, &half);
    half.feed_kg = Some(3.0);
    assert_eq!(hazard(&fits, &half), without, "a farm that logs no feed says nothing of it");
    fits.usual.feed_kg = Some(1.2);
    half.feed_kg = None;
    let missing = hazard(&fits, &half);
    half.feed_kg = Some(1.2);
    assert_eq!(hazard(&fits, &half), missing, "hers is taken to be the herd's");
    half.feed_kg = Some(0.0);
    assert!(hazard(&fits, &half) < missing);
}

#[test]
fn a_box_that_stood_still_is_not_the_cows_fault() {
    let life = life(1);
    let visits = vec![milked(1.0), milked(9.0)];
    let at = after(30.0);
    let walked = |open: &Open| {
        let course = Course { life: &life, pen: 0, visits: visits.clone(), brought: Vec::new() };
        let mut all = Vec::new();
        halves::walk(&course, open, &mut clock(), KAPPA, (start(), at), &mut |half| all.push(*half));
        frailty(&Fits::prior(), &all).mean()
    };
    let off: Vec<i64> = (24..60).map(|half| after(0.0).as_millisecond() / HALF_MS + half).collect();
    let off = Open { less: off.into_iter().map(|half| ((0, half), 0.0)).collect() };
    assert!(walked(&Open::default()) < walked(&off) - 0.05);
}

#[test]
fn who_was_marked_as_brought_did_not_come_by_herself() {
    let life = life(1);
    let visits = vec![milked(1.0), milked(14.0)];
    let came = |brought: Vec<Timestamp>| {
        let course = Course { life: &life, pen: 0, visits: visits.clone(), brought };
        let (mut came, mut hours) = (0, 0.0);
        halves::walk(&course, &Open::default(), &mut clock(), KAPPA, (start(), after(14.0)), &mut |half| {
            (came, hours) = (came + usize::from(half.came), hours + half.open_h);
        });
        (came, hours)
    };
    let (alone, all) = came(Vec::new());
    let (marked, until) = came(vec![after(13.0)]);
    assert_eq!((alone, marked), (2 - 1, 0));
    assert!((all - 12.88).abs() < 0.01 && (until - 12.0).abs() < 0.01, "{all} {until}");
}

#[test]
fn the_least_limit_that_applies_counts_and_says_why() {
    let limits = Limits::default();
    let hers = Hers { days: Some(45.0), first: Some(false), treated: false, rate_kg_h: None, left_kg: 0.0 };
    let of = |hers: Hers| limits.of(&hers, KAPPA);
    assert_eq!((of(hers).hours, of(hers).why), (10.0, Why::Stage));
    assert_eq!(of(Hers { first: Some(true), ..hers }).hours, 9.0);
    assert_eq!(of(Hers { days: Some(3.0), ..hers }).why, Why::Fresh);
    assert_eq!(of(Hers { days: Some(250.0), treated: true, ..hers }).why, Why::Treated);
    let full = of(Hers { rate_kg_h: Some(3.0), ..hers });
    assert_eq!(full.why, Why::Milk);
    let kg = 3.0 * cowpath_core::expect::secretion::g(full.hours, KAPPA);
    assert!((kg - limits.later_kg).abs() < 1e-9, "{kg}");
    // An udder that never fills so far has no limit of milk.
    assert_eq!(of(Hers { rate_kg_h: Some(0.5), ..hers }).why, Why::Stage);
    assert_eq!(limits.with(&limits.words()).unwrap(), limits);
    assert_eq!(limits.with("first=8/9/10 unlikely=40").unwrap().unlikely, 0.4);
    for wrong in ["first=8/9", "later=1/2/3", "days=200/100", "speed=4", "fresh=x", "kg", "kg=nan/3"] {
        assert!(limits.with(wrong).is_err(), "{wrong}");
    }
}

prop_compose! {
    fn candidate()(pen in 0..2_usize, heifer: bool, held: bool, since_h in 2.0..30.0_f64, in_time in 0.0..1.0_f64)
        -> Candidate {
        Candidate { pen, heifer, held, since_h, limit_h: 10.0, in_time, this_hour: 0.6 * in_time }
    }
}

proptest! {
    #[test]
    fn chances_grow_with_the_hours_ahead_and_with_those_since(
        since in 0.5..30.0_f64, more in 0.1..6.0_f64, weights in proptest::collection::vec(0.0..0.5_f64, 80), hour in 0.0..24.0_f64,
    ) {
        let mut fits = Fits::prior();
        for (weight, more) in fits.weights.iter_mut().zip(weights) {
            *weight += more;
        }
        let at = after(72.0 + hour);
        let of = |since: f64| {
            let life = life(1);
            let visits = [milked(72.0 + hour - since)];
            let course = Course { life: &life, pen: 0, visits: visits.to_vec(), brought: Vec::new() };
            let state = halves::walk(&course, &Open::default(), &mut clock(), KAPPA, (at, at), &mut |_| {});
            let ahead = Ahead { state: &state, frailty: Frailty::new(0.1), stage: life.stage(at), lame: 0.0 };
            chances(&ahead, &fits, KAPPA, &mut clock(), at).unwrap()
        };
        let (own, later) = (of(since), of(since + more));
        for hours in [1.0, 2.0, 4.0, 8.0, 23.5] {
            prop_assert!(own.alone_within(hours) <= own.alone_within(hours + 0.5) + 1e-12);
            prop_assert!(own.alone_within(hours) <= later.alone_within(hours) + 1e-9, "{hours} h");
            prop_assert!(own.alone_within(hours) <= own.milked_within(hours) + 1e-12);
            prop_assert!((0.0..=1.0).contains(&own.alone_within(hours)));
        }
        if let Some(by) = own.alone_by(0.8) {
            prop_assert!((own.alone_within(by) - 0.8).abs() < 1e-6);
        }
    }

    #[test]
    fn the_boxes_can_take_who_is_brought_and_heifers_stand_first(
        cows in proptest::collection::vec(candidate(), 0..60), boxes in 0..4_usize, minutes in 5.0..12.0_f64,
    ) {
        let rooms = [Room { boxes, minutes }, Room { boxes: 1, minutes }];
        let list = bring(&cows, &rooms, 0.5);
        let mut all: Vec<usize> = list.bring.iter().map(|own| own.cow).chain(list.rest.iter().copied()).collect();
        all.sort_unstable();
        prop_assert_eq!(all, (0..cows.len()).collect::<Vec<_>>(), "everybody once");
        for own in &list.bring {
            prop_assert!(10.0 <= cows[own.cow].since_h && cows[own.cow].in_time < 0.5);
        }
        for (pen, room) in rooms.iter().enumerate() {
            let hours = list.bring.iter().filter(|own| cows[own.cow].pen == pen).map(|own| own.hour).max().unwrap_or(0);
            for hour in 0..=hours {
                let here: Vec<_> = list.bring.iter().filter(|own| cows[own.cow].pen == pen && own.hour == hour).collect();
                let alone: f64 = list.rest.iter().filter(|cow| cows[**cow].pen == pen).map(|cow| cows[*cow].this_hour).sum();
                let most = (room.milkings() - alone).max(1.0);
                prop_assert!(here.len() as f64 <= most, "{} of {most}", here.len());
                let heifers: Vec<bool> = here.iter().map(|own| cows[own.cow].heifer).collect();
                prop_assert!(heifers.is_sorted_by(|one, other| one >= other), "heifers first: {heifers:?}");
            }
            if room.boxes == 0 {
                prop_assert!(list.bring.iter().all(|own| cows[own.cow].pen != pen || 0 < own.hour));
            }
        }
    }
}

//! Laws of the other signals, on made herds whose truth is known.

use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::{
    Column, Frozen, Ground, Heard, JUDGED_H, Learner, Reading, Stuck, Tags, Taken, Whose, Window, of_bin,
    of_visit,
};
use crate::{
    expect::Signal,
    herd::{BoxKey, LifeKey, Stage},
    tables::{Bin, Outcome, Visit},
    time::WallClock,
};

const COWS: u32 = 24;
const DAYS: i64 = 40;

fn start() -> Timestamp {
    "2026-01-05T00:00:00Z".parse().unwrap()
}

fn hours_on(hours: i64) -> Timestamp {
    start().checked_add(SignedDuration::from_hours(hours)).unwrap()
}

fn stage() -> Stage {
    Stage { parity: Some(2), calved_at: None, days_in_milk: Some(150.0), dry: false }
}

/// Reproducible scatter in −1 to 1, another for each cow and hour.
fn scatter(cow: u32, hour: i64, of: u64) -> f64 {
    let mut z = (u64::from(cow) << 32) ^ hour as u64 ^ of.wrapping_mul(0x9E37_79B9_7F4A_7C15);
    z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
    ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 52) as f64 - 1.0
}

/// A herd whose cows differ from one another, by the hour of day and by chance; `change` alters a bin.
fn bins(change: impl Fn(u32, i64, &mut Bin)) -> Vec<(LifeKey, Bin)> {
    let mut all = Vec::new();
    for cow in 0..COWS {
        for hour in (0..DAYS * 24).step_by(2) {
            let day = (std::f64::consts::TAU * hour as f64 / 24.0).sin();
            let own = 1.0 + 0.2 * scatter(cow, 0, 9);
            let mut bin = Bin {
                from: hours_on(hour),
                minutes: 120.0,
                activity: Some(own * 300.0 * (1.0 + 0.3 * day) * (1.0 + 0.2 * scatter(cow, hour, 1))),
                rumination_min: Some(own * 40.0 * (1.0 - 0.3 * day) * (1.0 + 0.2 * scatter(cow, hour, 2))),
                eating_min: None,
                lying_min: None,
                steps: None,
            };
            change(cow, hour, &mut bin);
            all.push((LifeKey(cow), bin));
        }
    }
    all
}

fn visits(change: impl Fn(u32, i64, &mut Visit)) -> Vec<Visit> {
    let mut all = Vec::new();
    for cow in 0..COWS {
        for hour in (i64::from(cow % 8)..DAYS * 24).step_by(8) {
            let mut visit = Visit {
                outcome: Some(Outcome::Milked),
                milk_c: Some(38.4 + 0.2 * scatter(cow, 0, 7) + 0.1 * scatter(cow, hour, 3)),
                weight_kg: Some(650.0 + 60.0 * scatter(cow, 0, 8) + 6.0 * scatter(cow, hour, 4)),
                ..Visit::stay(
                    LifeKey(cow),
                    BoxKey(u16::from(scatter(cow, hour, 5) < 0.0)),
                    hours_on(hour),
                    hours_on(hour).checked_add(SignedDuration::from_mins(7)).unwrap(),
                )
            };
            change(cow, hour, &mut visit);
            all.push(visit);
        }
    }
    all
}

fn heard(bins: &[(LifeKey, Bin)], visits: &[Visit], at: Timestamp) -> Heard {
    heard_without(bins, visits, at, &[])
}

fn heard_without(bins: &[(LifeKey, Bin)], visits: &[Visit], at: Timestamp, stuck: &[Stuck]) -> Heard {
    let clock = WallClock::new(TimeZone::UTC);
    let until = hours_on((DAYS - 11) * 24);
    let readings = || {
        let mut readings: Vec<Reading> = Vec::new();
        bins.iter().for_each(|(life, bin)| of_bin(*life, bin, &mut |reading| readings.push(reading)));
        visits.iter().for_each(|visit| of_visit(visit, &mut |reading| readings.push(reading)));
        readings
    };
    let mut learner = Learner::new(COWS as usize, clock.clone());
    for reading in readings().iter().filter(|reading| reading.to_ms <= until.as_millisecond()) {
        learner.take(reading, &stage());
    }
    let ground: Ground = learner.learned(until.as_millisecond(), &[]);
    let mut window = Window::new(&ground, at, clock);
    readings().iter().for_each(|reading| window.take(reading, &stage()));
    window.without(stuck);
    Heard::of(window.taken().into_iter().map(Taken::said).collect())
}

fn end() -> Timestamp {
    hours_on(DAYS * 24)
}

/// Mean departure of a cow's signal over the last `hours`.
fn mean_gap(heard: &Heard, cow: u32, signal: Signal, hours: i64) -> Option<f64> {
    let line = heard.cows.get(&LifeKey(cow))?.lines.iter().find(|line| line.signal == signal)?;
    let from = end().checked_sub(SignedDuration::from_hours(hours)).unwrap();
    let gaps: Vec<f64> =
        line.points.iter().filter(|point| from <= point.from).map(|point| point.gap).collect();
    (!gaps.is_empty()).then(|| gaps.iter().sum::<f64>() / gaps.len() as f64)
}

const LAST_DAYS: i64 = (DAYS - 2) * 24;

#[test]
fn a_cow_that_ruminates_less_departs_and_the_others_do_not() {
    let made = bins(|cow, hour, bin| {
        if cow == 3 && LAST_DAYS <= hour {
            bin.rumination_min = bin.rumination_min.map(|minutes| 0.7 * minutes);
        }
    });
    let heard = heard(&made, &[], end());
    let hers = mean_gap(&heard, 3, Signal::Rumination, 48).unwrap();
    assert!((-0.36..-0.24).contains(&hers), "{hers}");
    for cow in (0..COWS).filter(|cow| *cow != 3) {
        let gap = mean_gap(&heard, cow, Signal::Rumination, 48).unwrap();
        assert!(gap.abs() < 0.09, "{cow}: {gap}");
    }
    assert!(heard.cows[&LifeKey(3)].began.ill.is_some());
}

#[test]
fn what_all_cows_do_is_nobodys_departure_and_the_herds() {
    // A hot spell takes a fifth of it off; a new unit multiplies all activity by ten.
    let made = bins(|_, hour, bin| {
        if LAST_DAYS <= hour {
            bin.rumination_min = bin.rumination_min.map(|minutes| 0.8 * minutes);
            bin.activity = bin.activity.map(|counts| 10.0 * counts);
        }
    });
    let heard = heard(&made, &[], end());
    for cow in 0..COWS {
        for signal in [Signal::Rumination, Signal::Activity] {
            let gap = mean_gap(&heard, cow, signal, 40).unwrap();
            // What all do is taken from few cows, and a little less than all of it.
            let most = if signal == Signal::Activity { 0.45 } else { 0.12 };
            assert!(gap.abs() < most, "{cow} {signal:?}: {gap}");
        }
    }
    let line = heard.herd.iter().find(|line| line.signal == Signal::Rumination).unwrap();
    let last = line.points.last().unwrap().log_effect;
    assert!((-0.24..-0.15).contains(&last), "{last}");
}

#[test]
fn a_scale_that_is_off_is_the_boxs() {
    let made = visits(|_, hour, visit| {
        if LAST_DAYS <= hour && visit.at_box == BoxKey(1) {
            visit.weight_kg = visit.weight_kg.map(|kg| kg + 40.0);
        }
    });
    let heard = heard(&[], &made, end());
    for cow in 0..COWS {
        let gap = mean_gap(&heard, cow, Signal::Weight, 48).unwrap();
        assert!(gap.abs() < 0.025, "{cow}: {gap}");
    }
}

#[test]
fn a_fever_is_hers() {
    let made = visits(|cow, hour, visit| {
        if cow == 5 && LAST_DAYS <= hour {
            visit.milk_c = visit.milk_c.map(|milk_c| milk_c + 1.0);
        }
    });
    let gap = mean_gap(&heard(&[], &made, end()), 5, Signal::MilkTemperature, 48).unwrap();
    assert!((0.85..1.15).contains(&gap), "{gap}");
}

#[test]
fn what_is_not_measured_has_no_line() {
    let heard = heard(&bins(|_, _, _| {}), &visits(|_, _, _| {}), end());
    let signals: Vec<Signal> = heard.cows[&LifeKey(0)].lines.iter().map(|line| line.signal).collect();
    assert!(signals.contains(&Signal::Rumination) && signals.contains(&Signal::Weight));
    for signal in [Signal::Eating, Signal::Lying, Signal::Feed, Signal::Cells, Signal::FatProtein] {
        assert!(!signals.contains(&signal), "{signal:?}");
    }
}

#[test]
fn nothing_later_and_nothing_older_is_judged() {
    let at = hours_on((DAYS - 1) * 24 + 5);
    let told = |later: f64| {
        let made = bins(|_, hour, bin| {
            if at < hours_on(hour + 2) {
                bin.rumination_min = Some(later);
            }
        });
        heard(&made, &[], at)
    };
    assert_eq!(told(0.0), told(119.0));
    let all = told(40.0);
    for line in all.cows.values().flat_map(|hers| &hers.lines) {
        for point in line.points.iter() {
            assert!(point.to <= at);
            assert!(crate::time::hours_between(point.to, at) < JUDGED_H);
        }
    }
}

#[test]
fn a_sensor_that_is_stuck_is_told_and_left_out() {
    for zero in [true, false] {
        let mut frozen = Frozen::default();
        let mut sound = 0;
        for (life, mut bin) in bins(|_, _, _| {}).into_iter().filter(|(life, _)| *life == LifeKey(2)) {
            let hours = crate::time::hours_between(start(), bin.from);
            assert_eq!(life, LifeKey(2));
            if (500.0..600.0).contains(&hours) {
                let value = if zero { 0.0 } else { 37.0 };
                (bin.activity, bin.rumination_min) = (Some(value), Some(value));
            }
            frozen.take(&bin, &mut |_| sound += 1);
        }
        let stuck = frozen.end(LifeKey(2), &mut |_| sound += 1).unwrap();
        assert_eq!((stuck.from, stuck.to, stuck.zero()), (hours_on(500), hours_on(600), zero));
        assert_eq!(sound, DAYS * 12 - 50);
    }
}

fn tags(made: &[(LifeKey, Bin)]) -> Vec<Stuck> {
    let mut tags = Tags::default();
    made.iter().for_each(|(life, bin)| tags.take(*life, bin));
    tags.end()
}

#[test]
fn one_column_of_a_tag_that_is_zero_for_a_day_is_told_and_a_silent_half_day_is_not() {
    let made = bins(|cow, hour, bin| {
        if cow == 3 && (600..623).contains(&hour) || cow == 5 && (700..730).contains(&hour) {
            bin.rumination_min = Some(0.0);
        }
        if cow == 7 && 800 <= hour {
            bin.activity = Some(0.0);
        }
    });
    let stuck: Vec<_> =
        tags(&made).into_iter().map(|own| (own.whose, own.column, own.from, own.mended)).collect();
    let cow = |cow: u32| Whose::Cow(LifeKey(cow));
    // Twelve bins of cow 3 end at hour 624: a day, less than that is left alone.
    assert_eq!(
        stuck,
        [
            (cow(3), Column::Rumination, hours_on(600), true),
            (cow(5), Column::Rumination, hours_on(700), true),
            (cow(7), Column::Activity, hours_on(800), false),
        ]
    );
    let short = bins(|cow, hour, bin| {
        if cow == 3 && (600..621).contains(&hour) {
            bin.rumination_min = Some(0.0);
        }
    });
    assert_eq!(tags(&short), []);
}

#[test]
fn rumination_of_the_whole_herd_at_zero_is_told_once_and_is_nobodys_illness() {
    let made = bins(|_, hour, bin| {
        if 900 <= hour {
            bin.rumination_min = Some(0.0);
        }
    });
    for at in [hours_on(904), hours_on(934)] {
        let by: Vec<_> = made.iter().filter(|(_, bin)| bin.from < at).copied().collect();
        let stuck = tags(&by);
        let [one] = stuck.as_slice() else { panic!("{stuck:?}") };
        assert_eq!((one.whose, one.column, one.from), (Whose::Herd, Column::Rumination, hours_on(900)));
        assert!(one.zero() && one.began && !one.mended);
        let last = |stuck: &[Stuck]| {
            let heard = heard_without(&by, &[], at, stuck);
            let lines = heard.cows.into_values().flat_map(|hers| hers.lines);
            let of_it = lines.filter(|line| line.signal == Signal::Rumination);
            of_it.map(|line| line.points.last().unwrap().gap).fold(0.0, f64::min)
        };
        assert!(last(&stuck) > -0.7, "{}", last(&stuck));
        assert!(last(&[]) < -0.4, "it is no fault of the test: {}", last(&[]));
    }
}

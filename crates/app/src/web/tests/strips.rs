//! The fixed farm's picture: strips of a cow whose left rear changed, the same at every run.

use jiff::{SignedDuration, Timestamp, civil::DateTime, tz::TimeZone};

use crate::ask::lanes::{Lane, Lanes, Mark, Point, Strip, Tick};

/// The farm's zone.
pub fn zone() -> TimeZone {
    TimeZone::get("America/Chicago").unwrap()
}

/// An instant of the farm's clock.
pub fn wall(text: &str) -> Timestamp {
    text.parse::<DateTime>().unwrap().to_zoned_datetime(zone()).unwrap().timestamp()
}

/// Scatter that is the same every time, about −1 to 1.
fn scatter(index: usize, salt: usize) -> f64 {
    let mixed = ((index * 7919 + salt * 104_729 + 13) as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 33;
    mixed as f64 / f64::from(1_u32 << 30) - 1.0
}

/// Lanes of a cow whose left rear changed at `onset`, over whole days before 3 March 05:30.
pub fn lanes(title: &str, days: i32, onset: Timestamp, conductivity: bool) -> Lanes {
    let to = wall("2026-03-03T05:30");
    let from = to - SignedDuration::from_hours(24 * i64::from(days));
    let mut at = from + SignedDuration::from_mins(95);
    let mut times = Vec::new();
    while at < to {
        times.push(at);
        at += SignedDuration::from_mins(490 + (90.0 * scatter(times.len(), 1)) as i64);
    }
    let points = |usual: f64, noise: f64, changed: f64, half: f64| -> Strip {
        Strip::Points(
            times
                .iter()
                .enumerate()
                .map(|(index, at)| {
                    let expected = usual * (1.0 + 0.03 * scatter(index, 2));
                    let now = if onset < *at { changed } else { expected };
                    Point {
                        at: *at,
                        observed: (index % 17 != 9).then(|| now + noise * scatter(index, usual as usize)),
                        expected,
                        low95: expected - half,
                        high95: expected + half,
                    }
                })
                .collect(),
        )
    };
    let mut ticks: Vec<Tick> = times
        .iter()
        .map(|at| Tick { at: *at, outcome: "milked".into(), dashed: false })
        .chain(times.iter().step_by(4).map(|at| Tick {
            at: *at + SignedDuration::from_mins(230),
            outcome: "turned away".into(),
            dashed: true,
        }))
        .collect();
    ticks.sort_by_key(|tick| tick.at);
    let lane = |name: &str, unit: &str, speaks, low, high, strip, last: &str, usual: &str| Lane {
        name: name.into(),
        unit: unit.into(),
        speaks,
        low,
        high,
        strip,
        last: last.into(),
        usual: usual.into(),
    };
    let mut strips = vec![
        lane("milk", "kg a milking", false, 8.2, 14.0, points(11.6, 0.9, 9.9, 1.3), "9.9", "usually 11.5"),
        lane(
            "left rear",
            "share of milk, %",
            true,
            15.0,
            30.0,
            points(26.0, 0.7, 18.0, 1.8),
            "18 %",
            "usually 26 %",
        ),
    ];
    if conductivity {
        let strip = points(5.2, 0.1, 7.1, 0.25);
        strips.push(lane("left rear", "conductivity, mS/cm", true, 4.7, 7.4, strip, "7.1", "usually 5.2"));
    }
    strips.push(lane(
        "visits",
        "turned away dashed",
        false,
        0.0,
        1.0,
        Strip::Ticks(ticks),
        "2.8 a day",
        "as usual",
    ));
    let names = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
    let mut day = zone().to_datetime(from).date();
    let mut starts = Vec::new();
    while day <= jiff::civil::date(2026, 3, 3) {
        let start = day.to_zoned_datetime(zone()).unwrap().timestamp();
        if from <= start {
            let name = names[day.weekday().to_monday_zero_offset() as usize];
            starts.push((start, format!("{name} {}", day.day())));
        }
        day = day.tomorrow().unwrap();
    }
    Lanes {
        title: title.into(),
        description:
            "Left rear conductivity rose from 5.2 to 7.1 mS/cm since yesterday 14:10; its share of milk fell \
                      from 26 to 18 %; visits are as usual."
                .into(),
        from,
        to,
        days: starts,
        lanes: strips,
        marks: vec![
            Mark { at: onset, word: "since 14:10".into(), onset: true },
            Mark { at: wall("2026-02-25T09:00"), word: "heat".into(), onset: false },
        ],
    }
}

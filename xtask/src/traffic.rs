//! The simulated pen beside common practice and published herds, and how fast it is.

#![allow(clippy::disallowed_methods, reason = "a stopwatch")]

use std::fmt::Write as _;
use std::sync::atomic::AtomicBool;
use std::time::Instant;

use anyhow::{Context as _, anyhow};
use cowpath_core::traffic::{
    Change, Days, Figure, Gathered, Mean, Pen, Ready, Room, Setup, Tables, capacity, run as simulate,
};
use cowpath_core::units::Kilograms;
fn gathered(setup: &Setup, replicates: u32, days: f64) -> anyhow::Result<Gathered> {
    let ready = Ready::of(setup.scenario()?);
    let (mut room, never) = (Room::default(), AtomicBool::new(false));
    let mut gathered = Gathered::default();
    for replicate in 0..replicates {
        let days = Days { counted: days, ..Days::default() };
        let counted =
            ready.replicate(days, (1, replicate), &mut room, &never).ok_or_else(|| anyhow!("stopped"))?;
        gathered.add(&counted);
    }
    Ok(gathered)
}

fn fit_at_ten(milk_kg: f64, visit_min: f64) -> anyhow::Result<Mean> {
    let change = Change { milk_kg: Some(milk_kg), visit_min: Some(visit_min), ..Change::default() };
    let setup = change.of(&Setup::usual(60, 1));
    let sizes: Vec<(usize, Gathered)> = (30..=110)
        .step_by(5)
        .map(|cows| Ok((cows, gathered(&setup.of_cows(cows), 10, 60.0)?)))
        .collect::<anyhow::Result<_>>()?;
    let of: Vec<(usize, &Gathered)> = sizes.iter().map(|(cows, own)| (*cows, own)).collect();
    capacity(&of, 0.1).context("no capacity between 30 and 110 cows")
}

/// Bands, published herds and speed, as Markdown.
pub fn run() -> anyhow::Result<String> {
    let mut text = String::from(
        "Cows a box at 10 % idle, stated defaults but for the yield and the minutes a visit of an average cow takes; 10 replicates of 60 days, 95 % intervals. Bands: common practice, no source; they decide nothing.\n\n\
         | milk a cow-day | 6 min a visit | 7 min | 8 min | band | range overlaps it |\n|---|---|---|---|---|---|\n",
    );
    // 30 kg stands for herds of which nothing is said; the others are the ends of what is said.
    let bands = [
        (30.0, 60.0, 60.0),
        (34.0, 65.0, 72.0),
        (Kilograms::from_pounds(80.0).0, 58.0, 63.0),
        (Kilograms::from_pounds(95.0).0, 58.0, 63.0),
    ];
    for (milk_kg, low, high) in bands {
        let fits: Vec<Mean> = [6.0, 7.0, 8.0]
            .into_iter()
            .map(|visit| fit_at_ten(milk_kg, visit))
            .collect::<anyhow::Result<_>>()?;
        let range = fits
            .iter()
            .fold((f64::INFINITY, 0.0_f64), |(least, most), fit| (least.min(fit.mean), most.max(fit.mean)));
        let shown: Vec<String> =
            fits.iter().map(|fit| format!("{:.1} ({:.1} to {:.1})", fit.mean, fit.low, fit.high)).collect();
        let band = if low == high { format!("about {low:.0}") } else { format!("{low:.0} to {high:.0}") };
        let overlaps = if range.0 <= high && low <= range.1 { "yes" } else { "no" };
        let _ = writeln!(text, "| {milk_kg:.1} kg | {} | {band} | {overlaps} |", shown.join(" | "));
    }
    text.push_str("\nA pen of 115 cows and two boxes (57.5 a box), stated defaults, beside published herds (`sources.md` §1, §11). Milkings and turned-away visits of the first source went into the defaults; the rest did not.\n\n| figure | simulated | published |\n|---|---|---|\n");
    let own = gathered(&Setup::usual(115, 2), 20, 60.0)?;
    let figure = |figure: Figure, factor: f64| {
        let mean = own.mean(figure).times(factor);
        format!("{:.2} ({:.2} to {:.2})", mean.mean, mean.low, mean.high)
    };
    let under_six = 1.0 - own.all.intervals_h.share_from(6.0);
    let rows = [
        (
            "milkings a cow-day",
            figure(Figure::Milkings, 1.0),
            "2.8 ± 0.2 (Peiter 2019, into the defaults); 3.0 (Tse 2018, from memory)",
        ),
        (
            "turned away a cow-day",
            figure(Figure::TurnedAway, 1.0),
            "1.15 ± 0.5 (Peiter 2019, into the defaults)",
        ),
        (
            "milk a cow-day, kg",
            figure(Figure::MilkCow, 1.0),
            "37.3 ± 4.3 (Peiter 2019; its mean went into the defaults)",
        ),
        ("milk a box-day, kg", figure(Figure::MilkBox, 1.0), "2,153 ± 351 (Peiter 2019)"),
        (
            "failed a box-day",
            figure(Figure::Failed, 1.0),
            "5.4 ± 3.5, median (Peiter 2019; into the defaults); 2.5 (Tse 2018, from memory)",
        ),
        (
            "box time occupied, %",
            figure(Figure::Occupied, 100.0),
            "77 at 51 cows a box (Tse 2018, from memory)",
        ),
        ("interval, mean h", figure(Figure::Interval, 1.0), "9.2 (Hogeveen 2001)"),
        ("interval, sd h", format!("{:.2}", own.all.intervals_h.sd()), "3.3 (Hogeveen 2001)"),
        ("intervals under 6 h, %", format!("{:.1}", 100.0 * under_six), "9.7 (Hogeveen 2001)"),
        (
            "intervals over 12 h, %",
            format!("{:.1}", 100.0 * own.all.intervals_h.share_from(12.0)),
            "17.6 (Hogeveen 2001)",
        ),
        ("cows under two milkings a day, %", figure(Figure::UnderTwo, 100.0), "6 (Hogeveen 2001)"),
        (
            "waited a cow-day, min",
            figure(Figure::Waiting, 1.0),
            "88, 5 to 322, 40 of 59 cows on one box (Solano 2022)",
        ),
        (
            "fetched, of 100 cow-days",
            figure(Figure::Brought, 100.0),
            "8 % of cows (Minnesota survey, second-hand); 5 to 15 % never come by themselves (Rodenburg)",
        ),
        (
            "people, min a box-day",
            format!("{:.1}", own.mean(Figure::People).mean / 2.0),
            "51 (Minnesota survey, second-hand; all work with fetching)",
        ),
    ];
    for (what, ours, theirs) in rows {
        let _ = writeln!(text, "| {what} | {ours} | {theirs} |");
    }
    text.push_str("\nSpeed on one core, visits of any kind (asked: at least a million a second):\n\n| cows | boxes | days | visits | visits/s |\n|---|---|---|---|---|\n");
    for (cows, boxes, days) in [
        (60, 1, 60.0),
        (60, 1, 600.0),
        (120, 2, 60.0),
        (240, 4, 60.0),
        (600, 10, 60.0),
        (1200, 20, 60.0),
        (3600, 60, 60.0),
        (120, 2, 6000.0),
    ] {
        let pen = Setup::usual(cows, boxes).scenario()?.pens.remove(0);
        let (visits, seconds) = speed(&pen, days)?;
        let _ = writeln!(
            text,
            "| {cows} | {boxes} | {days} | {visits} | {:.2} million |",
            visits as f64 / seconds / 1e6
        );
    }
    print!("{text}");
    Ok(text)
}

/// Visits and seconds of the fastest of five runs of a million visits or more.
fn speed(pen: &Pen, days: f64) -> anyhow::Result<(u64, f64)> {
    let (tables, mut room, never) = (Tables::of(pen), Room::default(), AtomicBool::new(false));
    let days = Days { warm_up: 0.0, counted: days };
    let mut best = (0, f64::INFINITY);
    for _ in 0..5 {
        let (mut visits, mut replicate) = (0, 0);
        let begun = Instant::now();
        while visits < 300_000 {
            visits += simulate(pen, &tables, days, (1, replicate), &mut room, &never)
                .ok_or_else(|| anyhow!("stopped"))?
                .visits;
            replicate += 1;
        }
        let seconds = begun.elapsed().as_secs_f64();
        if seconds / (visits as f64) < best.1 / f64::max(best.0 as f64, 1.0) || best.0 == 0 {
            best = (visits, seconds);
        }
    }
    Ok(best)
}

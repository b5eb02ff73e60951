//! The whole cow against an oracle: heats, and the illnesses that no quarter shows, by hours since they began.
//!
//! The oracle states P(c) = π·L_c / (1 + π·Σ L) with one π for all illnesses; so is the program's rate of onsets for this check,
//! that neither has what the other lacks. Of heats it is the program's own: where one cause is asked for, π moves no order.

use cowpath_core::{
    causes::{self, Background, Cause, CowCourse, Settings, SignalNoise},
    expect::{Departure, Scored, Signal},
    herd::{BoxKey, LifeKey, Stage},
    right,
    signals::{Began, Line, Point},
};
use jiff::{SignedDuration, Timestamp};

use super::{
    CALLED, Chance,
    cases::{MEMORY, READ, Readings, SPAN_H, ago_h, heat, illness, well, whitened, with},
    limit, mean_ratio,
};

/// Chance that an illness began in these days, each: of the order of a fresh cow's.
const BEGUN: f64 = 0.02;
/// Rounds of well cows, of each cause, and courses the oracle draws of each.
const WELL: usize = 4000;
const ILL: usize = 1200;
const COURSES: usize = 1500;
/// Illnesses began so many hours ago at most; what is counted apart.
const AGO_H: f64 = 96.0;
const AGES_H: [(f64, f64); 3] = [(0.0, 24.0), (24.0, 48.0), (48.0, 96.0)];
/// The last round within 24 h of a heat is so many hours after activity began to rise.
const HEAT_AGO_H: (f64, f64) = (10.5, 24.0);
/// What is called a heat began so many hours ago at most: until the egg is shed (`sources.md` §4.3).
const HEAT_HOLDS_H: f64 = 30.0;
/// One heat in so many moves next to nothing.
const SILENT_IN: usize = 4;

const ILLNESSES: [Cause; 4] = [Cause::Metabolic, Cause::Gut, Cause::Feet, Cause::Fever];

/// The program's stated chance of each cause asked for.
fn program(
    readings: &Readings,
    settings: &Settings,
    days_in_milk: f64,
    causes: &[Cause],
) -> anyhow::Result<Vec<f64>> {
    let at: Timestamp = "2026-02-01T05:30:00Z".parse()?;
    let before = |hours: f64| at.checked_sub(SignedDuration::from_secs((3600.0 * hours) as i64));
    let (mut milkings, mut lines) = (Vec::new(), Vec::new());
    for ((signal, every_h, spread), own) in READ.iter().zip(readings) {
        let mut points = Vec::new();
        for (place, gap) in own.iter().copied().enumerate() {
            let middle_h = ago_h(*every_h, place);
            if *signal == Signal::Milk {
                let ended_at = before(middle_h)?;
                let mut scored = Scored { started_at: ended_at, ended_at, scored: true, ..Scored::empty() };
                (scored.life, scored.at_box) = (LifeKey(0), BoxKey(0));
                scored.departures.push(Departure {
                    signal: *signal,
                    quarter: None,
                    observed: 12.0 * gap.exp(),
                    expected: 12.0,
                    low95: 12.0 * (-1.96 * spread).exp(),
                    high95: 12.0 * (1.96 * spread).exp(),
                    z: gap / spread,
                    gap,
                    noise_sd: *spread,
                });
                milkings.push(scored);
            } else {
                let (from, to) = (before(middle_h + 0.5 * every_h)?, before(middle_h - 0.5 * every_h)?);
                points.push(Point {
                    from,
                    to,
                    observed: 1.0 + gap,
                    expected: 1.0,
                    gap,
                    noise_sd: *spread,
                    error: 0.0,
                });
            }
        }
        if !points.is_empty() {
            lines.push(Line { signal: *signal, quarter: None, points: points.into() });
        }
    }
    let her = Background::of_stage(stage(days_in_milk));
    let course = CowCourse {
        life: LifeKey(0),
        at,
        her,
        milkings: &milkings,
        lines: &lines,
        began: Began::default(),
        unsettled_since: None,
        trouble_since: None,
    };
    let found = causes::judge_cow(&course, settings);
    let chance =
        |cause: &Cause| found.iter().find(|own| own.cause == *cause).map_or(0.0, |own| own.probability);
    Ok(causes.iter().map(chance).collect())
}

fn stage(days_in_milk: f64) -> Stage {
    Stage { parity: Some(2), calved_at: None, days_in_milk: Some(days_in_milk), dry: false }
}

/// Settings with each cause's onsets as the oracle has them, and how readings wander where that is told.
fn settings(causes: &[Cause], days_in_milk: f64, told: bool) -> Settings {
    let mut settings = Settings::default();
    let her = Background::of_stage(stage(days_in_milk));
    for cause in causes.iter().filter(|cause| cause.is_illness()) {
        let now = settings.rates.a_day(*cause, &her) * SPAN_H / 24.0;
        if let Some(rate) = settings.rates.a_year.get_mut(cause) {
            *rate *= BEGUN / now;
        }
    }
    if told {
        for (signal, ..) in READ {
            settings.noise.signals.insert(signal, SignalNoise { memory: MEMORY, tail: 30.0, spread: 1.0 });
        }
        settings.noise.between_signals = 0.0;
    }
    settings
}

/// Stated chances of each cause, of every round of a set: `[round][cause]`.
type Stated = Vec<Vec<f64>>;

/// By the oracle, by the program told how readings wander, and by the program as it is.
fn stated(
    rounds: &[Readings],
    courses: &[Vec<Vec<f64>>],
    causes: &[Cause],
    days_in_milk: f64,
) -> anyhow::Result<[Stated; 3]> {
    let oracle = |readings: &Readings| {
        let own = whitened(readings);
        let odds: Vec<f64> =
            courses.iter().map(|courses| (BEGUN.ln() + mean_ratio(&own, courses)).exp().min(1e200)).collect();
        let all = 1.0 + odds.iter().sum::<f64>();
        odds.iter().map(|odds| odds / all).collect()
    };
    let by_program = |told: bool| {
        let settings = settings(causes, days_in_milk, told);
        rounds
            .iter()
            .map(|own| program(own, &settings, days_in_milk, causes))
            .collect::<anyhow::Result<Stated>>()
    };
    Ok([rounds.iter().map(oracle).collect(), by_program(true)?, by_program(false)?])
}

const BY: [&str; 3] =
    ["the oracle", "the program, told how readings wander", "the program with its stated defaults"];

/// A table: by who calls, then by group of cases `(name, causes that count, rounds)`.
fn table(well: &[Stated; 3], groups: &[(String, Vec<usize>, [Stated; 3])]) -> String {
    let heads: Vec<String> =
        CALLED.iter().map(|share| format!("{} % of well rounds called", 100.0 * share)).collect();
    let mut text =
        format!("| cases | called by | {} |\n|---|---|{}\n", heads.join(" | "), "---|".repeat(CALLED.len()));
    let most = |own: &Vec<f64>| own.iter().copied().fold(0.0, f64::max);
    for (name, counted, stated) in groups {
        for (who, by) in BY.iter().enumerate() {
            let sound: Vec<f64> = well[who].iter().map(most).collect();
            let cells = CALLED.map(|share| {
                let from = limit(&sound, share);
                let named = |own: &&Vec<f64>| counted.iter().any(|cause| from < own[*cause]);
                let (part, of) = (stated[who].iter().filter(named).count(), stated[who].len());
                let share = right::share(part as u32, of as u32);
                let figure = 100.0 * part as f64 / of as f64;
                format!("{figure:.0} % ({:.0} to {:.0} %)", 100.0 * share.low, 100.0 * share.high)
            });
            text += &format!(
                "| {} | {by} | {} |\n",
                if who == 0 { name.as_str() } else { "" },
                cells.join(" | ")
            );
        }
    }
    text
}

/// The comparison of heats as text.
fn heats(chance: &mut Chance) -> anyhow::Result<String> {
    const DAYS: f64 = 90.0;
    let drawn = |chance: &mut Chance, (from_h, to_h): (f64, f64), silent: bool| {
        let began_h = chance.between(from_h, to_h);
        heat(chance, began_h, silent)
    };
    let any = |place| whitened(&drawn(chance, (0.0, HEAT_HOLDS_H), place % SILENT_IN == 0));
    let courses: Vec<Vec<f64>> = (0..COURSES).map(any).collect();
    let ask = |rounds: &[Readings]| stated(rounds, std::slice::from_ref(&courses), &[Cause::Heat], DAYS);
    let sound: Vec<Readings> = (0..WELL).map(|_| well(chance)).collect();
    let well_stated = ask(&sound)?;
    let mut groups = Vec::new();
    for (name, silent) in [("heats that show", false), ("silent heats", true)] {
        let rounds: Vec<Readings> = (0..ILL)
            .map(|_| {
                let added = drawn(chance, HEAT_AGO_H, silent);
                with(&well(chance), &added)
            })
            .collect();
        groups.push((name.to_owned(), vec![0], ask(&rounds)?));
    }
    Ok(table(&well_stated, &groups))
}

/// The comparison of illnesses as text.
fn illnesses(chance: &mut Chance) -> anyhow::Result<String> {
    const DAYS: f64 = 20.0;
    let courses: Vec<Vec<Vec<f64>>> = ILLNESSES
        .iter()
        .map(|cause| {
            let drawn = |_| {
                let began_h = AGO_H * chance.even();
                whitened(&illness(chance, *cause, began_h))
            };
            (0..COURSES).map(drawn).collect()
        })
        .collect();
    let ask = |rounds: &[Readings]| stated(rounds, &courses, &ILLNESSES, DAYS);
    let sound: Vec<Readings> = (0..WELL).map(|_| well(chance)).collect();
    let well_stated = ask(&sound)?;
    let mut groups = Vec::new();
    for (place, cause) in ILLNESSES.iter().enumerate().filter(|(_, cause)| **cause != Cause::Fever) {
        for (from_h, to_h) in AGES_H {
            let rounds: Vec<Readings> = (0..ILL / AGES_H.len())
                .map(|_| {
                    let began_h = chance.between(from_h, to_h);
                    let added = illness(chance, *cause, began_h);
                    with(&well(chance), &added)
                })
                .collect();
            let name = format!("{}, begun {from_h:.0} to {to_h:.0} h ago", cause.word());
            let by = ask(&rounds)?;
            groups.push((format!("{name}: so named"), vec![place], by.clone()));
            groups.push((format!("{name}: as any illness"), (0..ILLNESSES.len()).collect(), by));
        }
    }
    Ok(table(&well_stated, &groups))
}

/// Both as text.
pub fn run() -> anyhow::Result<String> {
    let mut chance = Chance(20_260_302);
    let heats = heats(&mut chance)?;
    let illnesses = illnesses(&mut chance)?;
    Ok(format!(
        "The same of the whole cow: milk by milkings, activity, rumination, eating, feed, milk temperature, fat and protein, weight. \
         {WELL} rounds of well cows, {COURSES} courses of each cause drawn for the oracle, whose chances start equal as the program's do here. \
         Heats at the last round within 24 h of their rise, of a cow whose cycle nobody knows (the template's two lengths of a heat were chosen with this table at hand, from 75 % and one length):\n\n{heats}\n\
         Illnesses of a cow 20 days in milk, by hours since they began:\n\n{illnesses}"
    ))
}

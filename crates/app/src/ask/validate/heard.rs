//! One simulated herd, heard round by round: its logs read like any farm's, and each round made without look-ahead.

use std::{
    collections::BTreeMap,
    fs,
    path::{Path, PathBuf},
    time::Duration,
};

use cowpath_core::causes::{Subject, Urgency};
use cowpath_herdsim::Scenario;
use jiff::{SignedDuration, Timestamp, ToSpan};

use super::{
    Asked,
    forecast::Forecast,
    rules::{self, Mark},
    truth::{self, Truth},
    without::Dropped,
};
use crate::{
    ask::{calling, farm::Barn, rounding, take_in, view},
    clock::Stopwatch,
};

/// Days a herd is known before it is judged, or a third of its days where they are few.
const KNOWN_DAYS: i64 = 40;
/// Rounds of a day, local hours and minutes.
const ROUNDS: [(i8, i8); 2] = [(5, 30), (16, 0)];

/// One cause of one subject at one round: shown, or only weighed.
#[derive(Debug, Clone, PartialEq)]
pub struct Said {
    /// The round.
    pub at: Timestamp,
    /// What the call is known by.
    pub id: String,
    /// The cause's word.
    pub cause: &'static str,
    /// `LF RF LR RR`.
    pub quarter: Option<&'static str>,
    /// As stated.
    pub probability: f64,
    /// How urgent, where it is shown.
    pub shown: Option<Urgency>,
}

impl Said {
    /// Shown as `now` or `today`.
    pub fn is_urgent(&self) -> bool {
        matches!(self.shown, Some(Urgency::Now | Urgency::Today))
    }
}

/// Where the time of a herd went.
#[derive(Debug, Clone, Copy, Default)]
pub struct Took {
    /// Making and reading the logs.
    pub reading: Duration,
    /// Rolling the model to each round.
    pub rolling: Duration,
    /// Judging.
    pub judging: Duration,
}

/// All that came of one herd.
#[derive(Debug, Default)]
pub struct Heard {
    /// Its seed.
    pub seed: u64,
    /// Each round, and the cow-days it stands for.
    pub rounds: Vec<(Timestamp, f64)>,
    /// Rounds at which each cow was judged.
    pub judged: BTreeMap<String, Vec<Timestamp>>,
    /// What was found of each cow, box and the herd (`cow`, `box`, `herd`; its name), oldest round first.
    pub said: BTreeMap<(&'static str, String), Vec<Said>>,
    /// What the three simple rules say, in the order of [`rules::RULES`].
    pub rules: [Vec<Mark>; 3],
    /// What truly went on.
    pub truth: Truth,
    /// Expected milk beside the seven days' mean.
    pub forecast: Forecast,
    /// How long it took.
    pub took: Took,
}

impl Heard {
    /// First and last round.
    pub fn span(&self) -> (Timestamp, Timestamp) {
        let at = |round: Option<&(Timestamp, f64)>| round.map_or(Timestamp::MIN, |round| round.0);
        (at(self.rounds.first()), at(self.rounds.last()))
    }

    /// What was found of a cow.
    pub fn of_cow(&self, animal: &str) -> &[Said] {
        self.of("cow", animal)
    }

    /// What was found of a cow, a box or the herd.
    pub fn of(&self, subject: &'static str, name: &str) -> &[Said] {
        self.said.get(&(subject, name.to_owned())).map_or(&[], Vec::as_slice)
    }

    /// Cow-days judged.
    pub fn cow_days(&self) -> f64 {
        self.rounds.iter().map(|round| round.1).sum()
    }
}

/// A folder that is removed when it is done with.
pub struct Scratch(pub PathBuf);

impl Drop for Scratch {
    fn drop(&mut self) {
        // What cannot be removed lies among the machine's temporary files.
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// Simulates the herd of a seed and hears its rounds, once for each set of columns left out.
pub fn herd(asked: &Asked, seed: u64, each_without: &[Dropped]) -> anyhow::Result<Vec<Heard>> {
    let name = format!("cowpath-validate-{}-{seed}", std::process::id());
    let scratch = Scratch(std::env::temp_dir().join(name));
    let stopwatch = Stopwatch::start();
    let scenario = Scenario::demo(asked.cows, asked.boxes, asked.days, seed);
    let (logs, truth) = (scratch.0.join("logs"), scratch.0.join("truth"));
    cowpath_herdsim::write(&scenario, &logs, Some(&truth))?;
    let truth = truth::read(&truth)?;
    let made = stopwatch.elapsed();
    let mut all = Vec::new();
    for (place, dropped) in each_without.iter().enumerate() {
        let stopwatch = Stopwatch::start();
        let files = dropped.files(&logs, &scratch.0.join(format!("logs-{place}")))?;
        let mut barn = read(&scenario, &files, &scratch.0.join(format!("farm-{place}")))?;
        let reading = made + stopwatch.elapsed();
        let mut heard = Heard { seed, truth: truth.clone(), ..Heard::default() };
        rounds(asked, &scenario, &mut barn, &mut heard)?;
        let times: Vec<Timestamp> = heard.rounds.iter().map(|round| round.0).collect();
        heard.rules = rules::marks(&files, &times)?;
        heard.took.reading = reading;
        all.push(heard);
    }
    Ok(all)
}

fn read(scenario: &Scenario, files: &[PathBuf], dir: &Path) -> anyhow::Result<Barn> {
    let zone = scenario.zone.iana_name().unwrap_or("UTC");
    // The herd is invented, and so is its day: rows up to its last morning are not of the future.
    let now = scenario.last_day.at(23, 59, 0, 0).to_zoned_datetime(scenario.zone.clone())?.timestamp();
    fs::create_dir_all(dir)?;
    let mut barn = Barn::found(dir, now, zone)?;
    take_in::take_in(&mut barn, files, &scenario.zone, now, &mut |_, _| {})?;
    Ok(barn)
}

/// The times of the rounds: twice a day, or after every milking.
fn times(asked: &Asked, scenario: &Scenario, barn: &Barn) -> anyhow::Result<Vec<Timestamp>> {
    let known = KNOWN_DAYS.min(i64::from(asked.days) / 3);
    let mut day = scenario.last_day.checked_sub((i64::from(scenario.days) - known).days())?;
    let mut times = Vec::new();
    while day <= scenario.last_day {
        for (hour, minute) in ROUNDS {
            times.push(day.at(hour, minute, 0, 0).to_zoned_datetime(scenario.zone.clone())?.timestamp());
        }
        day = day.checked_add(1.day())?;
    }
    // The last morning is the last that is told.
    times.pop();
    let (Some(first), Some(last)) = (times.first().copied(), times.last().copied()) else { return Ok(times) };
    if asked.every_milking {
        let mut ends = Vec::new();
        barn.store.milkings(
            truth::earlier(first, SignedDuration::from_hours(6))..last,
            &mut |_, visit| {
                if first < visit.ended_at && visit.ended_at <= last {
                    ends.push(visit.ended_at);
                }
                std::ops::ControlFlow::Continue(())
            },
        )?;
        ends.sort_unstable();
        ends.dedup();
        times = std::iter::once(first).chain(ends).collect();
    }
    Ok(times)
}

fn rounds(asked: &Asked, scenario: &Scenario, barn: &mut Barn, heard: &mut Heard) -> anyhow::Result<()> {
    let mut before = None;
    for at in times(asked, scenario, barn)? {
        let stopwatch = Stopwatch::start();
        let Some(view) = view::at(barn, Some(at))? else { continue };
        heard.took.rolling += stopwatch.elapsed();
        let stopwatch = Stopwatch::start();
        let judged = rounding::judged(barn, &view)?;
        heard.took.judging += stopwatch.elapsed();
        let days = before.map_or(0.5, |before| at.duration_since(before).as_secs_f64() / 86_400.0);
        heard.rounds.push((at, judged.cows.len() as f64 * days));
        for (life, _) in &judged.cows {
            match heard.judged.get_mut(&life.animal) {
                Some(times) => times.push(at),
                None => {
                    heard.judged.insert(life.animal.clone(), vec![at]);
                }
            }
        }
        for finding in &judged.findings {
            let (subject, name) = match finding.subject {
                Subject::Cow(key) => ("cow", view.cast.of(key).map(|life| life.animal.as_str())),
                Subject::Box(key) => ("box", view.cast.boxes.get(usize::from(key.0)).map(String::as_str)),
                Subject::Herd => ("herd", None),
            };
            let name = name.unwrap_or("herd");
            let shown = judged.shown.iter().find(|shown| {
                shown.subject == finding.subject
                    && shown.cause == finding.cause
                    && shown.quarter == finding.quarter
            });
            heard.said.entry((subject, name.to_owned())).or_default().push(Said {
                at,
                id: calling::identity(name, finding),
                cause: finding.cause.word(),
                quarter: finding.quarter.map(|quarter| quarter.code()),
                probability: finding.probability,
                shown: shown.map(|shown| shown.urgency),
            });
        }
        heard.forecast.take(&view, before);
        if !view.rolled.memories.is_empty() || !view.rolled.fits.is_empty() || view.made_fits() {
            view.keep(barn)?;
        }
        before = Some(at);
    }
    Ok(())
}

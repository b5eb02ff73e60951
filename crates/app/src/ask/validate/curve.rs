//! Sensitivity against false calls, of a rule and of the program's stated probability, over all their thresholds.
//!
//! Both are counted alike: marks of one cow less than five days apart are one call, whatever quarter they name.

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};

use super::{
    count::{self, Figure, MARGIN, hours_after},
    heard::Heard,
    rules::{Mark, RULES, Rule},
    truth::Case,
};

/// Marks of one cow so far apart are two calls.
const APART: SignedDuration = SignedDuration::from_hours(120);
/// Thresholds of stated probability.
pub const STATED: [f64; 34] = [
    0.005, 0.007, 0.01, 0.015, 0.02, 0.03, 0.04, 0.05, 0.06, 0.08, 0.10, 0.125, 0.15, 0.175, 0.20, 0.25,
    0.30, 0.35, 0.40, 0.45, 0.50, 0.55, 0.60, 0.65, 0.70, 0.75, 0.80, 0.85, 0.90, 0.95, 0.97, 0.98, 0.99,
    0.999,
];

/// What one threshold gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Marks from here on count.
    pub from: f64,
    /// Cases called within 24 h of the first sign.
    pub within_24h: Figure,
    /// Within 48 h.
    pub within_48h: Figure,
    /// False calls.
    pub false_calls: Figure,
}

impl Point {
    fn within(&self, hours: i64) -> Figure {
        if hours == 24 { self.within_24h } else { self.within_48h }
    }
}

/// A rule beside the program at as many false calls, and at as many cases called.
#[derive(Debug, Clone, PartialEq)]
pub struct Beside {
    /// The rule.
    pub rule: Rule,
    /// The rule as it stands.
    pub stands: Point,
    /// The rule's curve.
    pub rules: Vec<Point>,
    /// The program's.
    pub ours: Vec<Point>,
}

impl Beside {
    /// The program's point of most cases called within so many hours, at no more false calls than the rule.
    pub fn at_equal_false(&self, hours: i64) -> Option<Point> {
        let most = self.stands.false_calls.value()?;
        let fits = |point: &&Point| point.false_calls.value().is_some_and(|own| own <= most);
        let value = |point: &Point| point.within(hours).value().unwrap_or(0.0);
        self.ours
            .iter()
            .filter(fits)
            .copied()
            .max_by(|a, b| value(a).total_cmp(&value(b)).then(a.from.total_cmp(&b.from)))
    }

    /// The program's point of fewest false calls, with no fewer cases called within so many hours; `None` where it never
    /// calls so many.
    pub fn at_equal_called(&self, hours: i64) -> Option<Point> {
        let least = self.stands.within(hours).value()?;
        let fits = |point: &&Point| point.within(hours).value().is_some_and(|own| least <= own);
        let value = |point: &Point| point.false_calls.value().unwrap_or(f64::INFINITY);
        self.ours.iter().filter(fits).copied().min_by(|a, b| value(a).total_cmp(&value(b)))
    }
}

/// The three rules beside the program.
pub fn beside(herds: &[Heard]) -> Vec<Beside> {
    (0..RULES.len())
        .map(|place| {
            let rule = RULES[place];
            let rules: Vec<Cows> = herds.iter().map(|heard| by_cow(&heard.rules[place])).collect();
            let ours: Vec<Cows> = herds.iter().map(|heard| by_cow(&stated(heard, &rule))).collect();
            Beside {
                rule,
                stands: point(herds, &rules, &rule, rule.calls_from),
                rules: rule.steps.iter().map(|from| point(herds, &rules, &rule, *from)).collect(),
                ours: STATED.iter().map(|from| point(herds, &ours, &rule, *from)).collect(),
            }
        })
        .collect()
}

/// The program's stated probabilities of a rule's kinds as marks. Of illness that is not the udder's an unclear finding
/// counts too.
fn stated(heard: &Heard, rule: &Rule) -> Vec<Mark> {
    let counts =
        |cause: &str| rule.kinds.contains(&cause) || cause == "unclear" && rule.kinds.contains(&"gut");
    let mut marks = Vec::new();
    for ((_, animal), said) in heard.said.iter().filter(|((subject, _), _)| *subject == "cow") {
        for one in said.iter().filter(|one| counts(one.cause)) {
            marks.push(Mark {
                at: one.at,
                animal: animal.clone(),
                quarter: one.quarter.map(str::to_owned),
                strength: one.probability,
            });
        }
    }
    marks
}

type Cows = BTreeMap<String, Vec<Mark>>;

fn by_cow(marks: &[Mark]) -> Cows {
    let mut cows = Cows::new();
    for mark in marks {
        cows.entry(mark.animal.clone()).or_default().push(mark.clone());
    }
    cows.values_mut().for_each(|own| own.sort_by_key(|mark| mark.at));
    cows
}

/// Cases a rule is held against: clinical ones, of heats all.
pub fn asked<'a>(heard: &'a Heard, rule: &'a Rule) -> impl Iterator<Item = &'a Case> {
    count::cases(heard, rule.kinds).filter(|case| case.clinical || !case.is_illness())
}

fn point(herds: &[Heard], marks: &[Cows], rule: &Rule, from: f64) -> Point {
    let mut point = [Vec::new(), Vec::new()];
    let mut false_calls = 0;
    for (heard, cows) in herds.iter().zip(marks) {
        for case in asked(heard, rule) {
            for (place, hours) in [24, 48].into_iter().enumerate() {
                let until = hours_after(case.first_sign, hours);
                let called = cows.get(&case.animal).is_some_and(|own| {
                    own.iter().any(|mark| {
                        from <= mark.strength
                            && case.began <= mark.at
                            && mark.at <= until
                            && (case.quarter.is_none() || mark.quarter == case.quarter)
                    })
                });
                point[place].push(called);
            }
        }
        for (animal, own) in cows {
            let loud = own.iter().filter(|mark| from <= mark.strength).map(|mark| mark.at);
            false_calls += stretches(loud)
                .into_iter()
                .filter(|(first, last)| !is_true(heard, rule, animal, *first, *last))
                .count() as u32;
        }
    }
    let [within_24h, within_48h] = point.map(count::share);
    let cow_days = herds.iter().map(Heard::cow_days).sum();
    Point { from, within_24h, within_48h, false_calls: Figure::Rate { count: false_calls, cow_days } }
}

fn is_true(heard: &Heard, rule: &Rule, animal: &str, first: Timestamp, last: Timestamp) -> bool {
    let of_heat = rule.kinds.contains(&"heat");
    heard.truth.cases.iter().any(|case| {
        case.animal == animal && case.is_illness() != of_heat && case.is_near(first, last, MARGIN)
    })
}

/// Times in order, put together where they are less than five days apart: first and last of each.
pub fn stretches(times: impl IntoIterator<Item = Timestamp>) -> Vec<(Timestamp, Timestamp)> {
    let mut all: Vec<(Timestamp, Timestamp)> = Vec::new();
    for at in times {
        match all.last_mut() {
            Some((_, last)) if at.duration_since(*last) < APART => *last = at,
            _ => all.push((at, at)),
        }
    }
    all
}

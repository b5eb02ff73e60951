//! The figures of one validation as a struct for programs; [`super::words`] has them as a page.

use std::collections::{BTreeMap, BTreeSet};

use serde::Serialize;

use super::{
    Asked, calibration,
    count::{self, Excuse, Figure},
    curve::{self, Beside, Point},
    faults::{self, DECOYS},
    heard::Heard,
    rows::{self, Row, Unit},
    without::Dropped,
};

/// All of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Report {
    /// Which herds.
    pub herds: Herds,
    /// The table of the proof.
    pub rows: Vec<Line>,
    /// Each simple rule beside the program.
    pub rules: Vec<RuleLines>,
    /// What was stated beside what held, by tenth.
    pub calibration: Vec<Tenth>,
    /// Calls that fell on what looks like trouble and is none.
    pub decoys: Vec<Decoy>,
    /// Calls shown as `now` or `today` by what the cow truly had.
    pub calls: Vec<CallsOn>,
    /// Expected milk beside the seven days' mean.
    pub milk: Milk,
}

/// Which herds were heard.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Herds {
    /// Which reckoning.
    pub model: &'static str,
    /// Their seeds.
    pub seeds: Vec<u64>,
    /// Cows, boxes and days of each.
    pub cows: u32,
    /// Boxes.
    pub boxes: u32,
    /// Days.
    pub days: u32,
    /// Signals left out.
    pub without: Vec<&'static str>,
    /// A round after every milking.
    pub every_milking: bool,
    /// Rounds made.
    pub rounds: u32,
    /// Cow-days judged.
    pub cow_days: f64,
    /// Calls a round.
    pub calls_a_round: f64,
}

/// A figure with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Told {
    /// The figure; `null` of nothing.
    pub value: Option<f64>,
    /// Lower end of its 95 % interval.
    pub low95: Option<f64>,
    /// Upper end.
    pub high95: Option<f64>,
    /// Of a share the cases it holds for, of a rate the number counted.
    pub count: Option<u32>,
    /// Cases, or what else it rests on.
    pub n: u32,
}

impl From<Figure> for Told {
    fn from(figure: Figure) -> Told {
        let between = figure.between();
        let count = match figure {
            Figure::Share { part, .. } => Some(part),
            Figure::Rate { count, .. } => Some(count),
            Figure::Number { .. } => None,
        };
        Told {
            value: figure.value().map(rounded),
            low95: between.map(|own| rounded(own.0)),
            high95: between.map(|own| rounded(own.1)),
            count,
            n: figure.n(),
        }
    }
}

/// Six decimals, the same on every machine.
fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

/// One row of the table.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Line {
    /// What was counted.
    pub what: String,
    /// `share`, `per 100 days`, `up`, or nothing.
    pub unit: &'static str,
    /// The figure.
    #[serde(flatten)]
    pub figure: Told,
    /// What was asked for.
    pub aim: &'static str,
    /// The simple rule's words.
    pub rule: Option<&'static str>,
    /// Its figure.
    pub rule_figure: Option<Told>,
}

/// A rule's curve and the program's.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RuleLines {
    /// In words.
    pub rule: &'static str,
    /// Kinds of case both are held against.
    pub kinds: &'static [&'static str],
    /// The rule as it stands.
    pub stands: CurvePoint,
    /// The program at no more false calls than the rule: most cases within 24 h, and within 48 h.
    pub at_equal_false: [Option<CurvePoint>; 2],
    /// The program with no fewer cases called than the rule: fewest false calls at 24 h, and at 48 h.
    pub at_equal_called: [Option<CurvePoint>; 2],
    /// The rule at other thresholds.
    pub rule_curve: Vec<CurvePoint>,
    /// The program at thresholds of its stated probability.
    pub curve: Vec<CurvePoint>,
}

/// One threshold.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CurvePoint {
    /// From here on it calls.
    pub from: f64,
    /// Cases called within 24 h.
    pub within_24h: Told,
    /// Within 48 h.
    pub within_48h: Told,
    /// False calls for 100 cow-days.
    pub false_calls: Told,
}

impl From<Point> for CurvePoint {
    fn from(point: Point) -> CurvePoint {
        CurvePoint {
            from: point.from,
            within_24h: point.within_24h.into(),
            within_48h: point.within_48h.into(),
            false_calls: point.false_calls.into(),
        }
    }
}

/// What was stated at one tenth of one cause.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Tenth {
    /// The cause's word; `all` of cows together.
    pub cause: &'static str,
    /// Lower end of the tenth, per cent.
    pub from_pct: u32,
    /// Times it was stated.
    pub times: u32,
    /// Mean stated.
    pub stated: f64,
    /// Share that held.
    pub held: f64,
}

/// One kind of decoy.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Decoy {
    /// Its word.
    pub kind: &'static str,
    /// What fell on it.
    pub spans: u32,
    /// False cow calls begun in one or a day after.
    pub calls: u32,
    /// As many as by chance.
    pub by_chance: f64,
    /// Named by a call of the herd.
    pub named: u32,
}

/// Calls of a cause on cows that had these cases.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CallsOn {
    /// The call's cause.
    pub cause: &'static str,
    /// Kinds of her cases within three days of it; none.
    pub kinds: Vec<String>,
    /// Calls.
    pub calls: u32,
}

/// Expected milk.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Milk {
    /// Milkings.
    pub milkings: u32,
    /// Mean absolute error over that of the seven days' mean.
    pub of_seven_days: Option<f64>,
    /// Share inside the 95 % interval.
    pub covered: Option<f64>,
}

/// The report of herds.
pub fn of(asked: &Asked, dropped: &Dropped, heard: &[Heard]) -> Report {
    let beside = curve::beside(heard);
    let cow_days: f64 = heard.iter().map(Heard::cow_days).sum();
    let false_calls = count::false_calls(heard, Excuse::Kind, true, |_| true);
    let rate = false_calls.value().unwrap_or(0.0) / 100.0;
    let rounds: usize = heard.iter().map(|own| own.rounds.len()).sum();
    let shown =
        heard.iter().flat_map(|own| own.said.values().flatten()).filter(|said| said.shown.is_some()).count();
    let decoys = DECOYS.iter().map(|kind| {
        let fell = faults::fell(heard, kind, rate);
        Decoy {
            kind,
            spans: fell.spans,
            calls: fell.calls,
            by_chance: rounded(fell.by_chance),
            named: fell.named,
        }
    });
    Report {
        herds: Herds {
            model: crate::ask::model::MODEL,
            seeds: heard.iter().map(|own| own.seed).collect(),
            cows: asked.cows,
            boxes: asked.boxes,
            days: asked.days,
            without: dropped.words.clone(),
            every_milking: asked.every_milking,
            rounds: rounds as u32,
            cow_days: cow_days.round(),
            calls_a_round: rounded(shown as f64 / (rounds as f64).max(1.0)),
        },
        rows: rows::rows(heard, asked.boxes, &beside).into_iter().map(line).collect(),
        rules: beside.iter().map(rule_lines).collect(),
        calibration: tenths(heard),
        decoys: decoys.collect(),
        calls: calls_on(heard),
        milk: milk(heard),
    }
}

fn line(row: Row) -> Line {
    Line {
        what: row.what,
        unit: match row.unit {
            Unit::Share => "share",
            Unit::Rate => "per 100 days",
            Unit::Up => "up",
            Unit::Plain => "",
        },
        figure: row.figure.into(),
        aim: row.aim,
        rule: row.beside.map(|own| own.0),
        rule_figure: row.beside.map(|own| own.1.into()),
    }
}

fn rule_lines(beside: &Beside) -> RuleLines {
    let both = |at: &dyn Fn(i64) -> Option<Point>| [24, 48].map(|hours| at(hours).map(CurvePoint::from));
    RuleLines {
        rule: beside.rule.words,
        kinds: beside.rule.kinds,
        stands: beside.stands.into(),
        at_equal_false: both(&|hours| beside.at_equal_false(hours)),
        at_equal_called: both(&|hours| beside.at_equal_called(hours)),
        rule_curve: beside.rules.iter().copied().map(CurvePoint::from).collect(),
        curve: beside.ours.iter().copied().map(CurvePoint::from).collect(),
    }
}

fn tenths(heard: &[Heard]) -> Vec<Tenth> {
    let mut by_cause: BTreeMap<&'static str, Vec<calibration::Tenths>> = BTreeMap::new();
    for own in heard {
        for ((subject, cause), tenths) in calibration::tenths(own) {
            by_cause.entry(cause).or_default().push(tenths);
            if subject == "cow" {
                by_cause.entry("all").or_default().push(tenths);
            }
        }
    }
    let mut all = Vec::new();
    for (cause, own) in &by_cause {
        for (place, (stated, held, times)) in calibration::sum(own).into_iter().enumerate() {
            if 0.0 < times {
                all.push(Tenth {
                    cause,
                    from_pct: 10 * place as u32,
                    times: times as u32,
                    stated: rounded(stated / times),
                    held: rounded(held / times),
                });
            }
        }
    }
    all
}

fn calls_on(heard: &[Heard]) -> Vec<CallsOn> {
    let mut all: BTreeMap<(&'static str, Vec<String>), u32> = BTreeMap::new();
    for own in heard {
        for call in count::calls(own).iter().filter(|call| call.urgent.is_some()) {
            let near = own.truth.cases.iter().filter(|case| {
                case.animal == call.animal && case.is_near(call.first, call.last, count::MARGIN)
            });
            let kinds: BTreeSet<String> = near.map(|case| case.kind.clone()).collect();
            *all.entry((call.cause, kinds.into_iter().collect())).or_default() += 1;
        }
    }
    all.into_iter().map(|((cause, kinds), calls)| CallsOn { cause, kinds, calls }).collect()
}

fn milk(heard: &[Heard]) -> Milk {
    let milkings: u32 = heard.iter().map(|own| own.forecast.rows).sum();
    let sum = |each: fn(&Heard) -> f64| heard.iter().map(each).sum::<f64>();
    let (model_kg, plain_kg) = (sum(|own| own.forecast.model_kg), sum(|own| own.forecast.plain_kg));
    let covered = sum(|own| f64::from(own.forecast.covered));
    Milk {
        milkings,
        of_seven_days: (0.0 < plain_kg).then(|| rounded(model_kg / plain_kg)),
        covered: (0 < milkings).then(|| rounded(covered / f64::from(milkings))),
    }
}

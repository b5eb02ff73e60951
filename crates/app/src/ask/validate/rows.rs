//! The rows of the proof: each what, its figure, its interval, its aim, and the simple rule beside it.

use cowpath_core::causes::Cause;
use jiff::SignedDuration;

use super::{
    calibration,
    count::{self, Excuse, Figure, cases, hours_after, is_called, is_quarter, share},
    curve::Beside,
    faults,
    heard::{Heard, Said},
    truth::{Case, earlier},
};

/// What a figure is in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// A share, shown in per cent.
    Share,
    /// For 100 cow-days.
    Rate,
    /// By how much it is up, in per cent.
    Up,
    /// A plain figure of three decimals.
    Plain,
}

/// One row.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// What was counted.
    pub what: String,
    /// The figure.
    pub figure: Figure,
    /// What it is in.
    pub unit: Unit,
    /// What was asked for, if anything was.
    pub aim: &'static str,
    /// The simple rule on the same herds: its words and its figure.
    pub beside: Option<(&'static str, Figure)>,
}

fn row(what: impl Into<String>, figure: Figure, unit: Unit, aim: &'static str) -> Row {
    Row { what: what.into(), figure, unit, aim, beside: None }
}

/// A share over the cases of every herd; of a case that does not count `None`.
fn of_cases(herds: &[Heard], kinds: &[&str], each: impl Fn(&Heard, &Case) -> Option<bool>) -> Figure {
    share(herds.iter().flat_map(|heard| {
        let each = &each;
        cases(heard, kinds).filter_map(move |case| each(heard, case)).collect::<Vec<_>>()
    }))
}

/// The table of the proof.
pub fn rows(herds: &[Heard], boxes: u32, beside: &[Beside]) -> Vec<Row> {
    let mut rows = udder(herds, beside);
    rows.extend(false_calls(herds, beside));
    rows.extend(heat(herds, beside));
    rows.extend(early(herds, beside));
    rows.extend(of_boxes(herds));
    rows.extend(calibrated(herds));
    rows.push(row(
        "false calls on boxes for 100 box-days",
        {
            let (count, days) = faults::false_box_calls(herds, boxes);
            Figure::Rate { count, cow_days: days }
        },
        Unit::Rate,
        "",
    ));
    rows
}

fn udder(herds: &[Heard], beside: &[Beside]) -> Vec<Row> {
    let udder = |hours: i64, accepts: fn(&Said, &Case) -> bool| {
        of_cases(herds, &["udder"], |heard, case| {
            let until = hours_after(case.first_sign, hours);
            case.clinical
                .then(|| is_called(heard, case, until, |said| said.cause == case.kind && accepts(said, case)))
        })
    };
    let rule = beside.first();
    let of_rule = |figure: fn(&Beside) -> Figure| rule.map(|own| (own.rule.words, figure(own)));
    let judged = of_cases(herds, &["udder"], |heard, case| {
        case.clinical.then(|| !count::was_judged(heard, case, hours_after(case.first_sign, 24)))
    });
    let quiet = of_cases(herds, &["udder"], |heard, case| {
        let until = hours_after(case.first_sign, 24);
        (case.clinical && case.form == "fast")
            .then(|| is_called(heard, case, until, |said| said.cause == case.kind && is_quarter(said, case)))
    });
    let mut identities = (0, 0);
    let mut standing = Vec::new();
    for heard in herds {
        for case in cases(heard, &["udder"]).filter(|case| case.clinical) {
            let ids = count::identities(heard, case);
            if ids.is_empty() {
                continue;
            }
            identities = (identities.0 + ids.len() as u32, identities.1 + 1);
            let stood = earlier(case.began, SignedDuration::from_hours(24));
            let hers = heard.of_cow(&case.animal);
            standing.push(
                hers.iter()
                    .any(|said| said.at < stood && said.shown.is_some() && ids.contains(&said.id.as_str())),
            );
        }
    }
    vec![
        Row {
            beside: of_rule(|own| own.stands.within_24h),
            ..row(
                "clinical udder cases called within 24 h of first signs, right quarter",
                udder(24, is_quarter),
                Unit::Share,
                "90 %",
            )
        },
        Row {
            beside: of_rule(|own| own.stands.within_48h),
            ..row("… within 48 h, right quarter", udder(48, is_quarter), Unit::Share, "")
        },
        row("… within 24 h, any quarter", udder(24, |_, _| true), Unit::Share, ""),
        row(
            "… within 24 h, right quarter, as `now` or `today`",
            udder(24, |said, case| said.is_urgent() && is_quarter(said, case)),
            Unit::Share,
            "",
        ),
        row("… of those that come within hours", quiet, Unit::Share, ""),
        row("… of cows not judged at any round by then", judged, Unit::Share, ""),
        row(
            "identities of the udder calls of one clinical case",
            Figure::Number {
                value: (0 < identities.1).then(|| f64::from(identities.0) / f64::from(identities.1)),
                between: None,
                n: identities.1,
            },
            Unit::Plain,
            "1",
        ),
        row(
            "udder cases called under an identity shown more than a day before them",
            share(standing),
            Unit::Share,
            "0",
        ),
    ]
}

fn false_calls(herds: &[Heard], beside: &[Beside]) -> Vec<Row> {
    let all = |excuse, urgent| count::false_calls(herds, excuse, urgent, |_| true);
    let mut rows = vec![
        row(
            "false cow calls for 100 cow-days, `now` or `today`",
            all(Excuse::Kind, true),
            Unit::Rate,
            "at most 1.0",
        ),
        row("… with `watch` too", all(Excuse::Kind, false), Unit::Rate, ""),
        row(
            "… `now` or `today`, any case of hers excuses: a heat an illness call too",
            all(Excuse::Any, true),
            Unit::Rate,
            "",
        ),
    ];
    for cause in Cause::ALL.into_iter().filter(|cause| cause.is_illness() || *cause == Cause::Heat) {
        let own = |call: &count::Call<'_>| call.cause == cause.word();
        let rule = beside.iter().find(|own| own.rule.kinds == [cause.word()]);
        rows.push(Row {
            beside: rule.map(|own| (own.rule.words, own.stands.false_calls)),
            ..row(
                format!("… {} calls", cause.word()),
                count::false_calls(herds, Excuse::Kind, true, own),
                Unit::Rate,
                "",
            )
        });
    }
    rows
}

/// Whether people noted a heat while it could still be served in its best hours.
fn is_noted(case: &Case) -> bool {
    case.noticed.is_some_and(|noticed| noticed <= hours_after(case.began, 24))
}

fn heat(herds: &[Heard], beside: &[Beside]) -> Vec<Row> {
    let heats = |counts: fn(&Case) -> bool| {
        of_cases(herds, &["heat"], |heard, case| {
            // The best hours of service end 24 h after activity rises.
            let until = hours_after(case.began, 24);
            counts(case).then(|| is_called(heard, case, until, |said| said.cause == "heat"))
        })
    };
    let rule = beside.iter().find(|own| own.rule.kinds == ["heat"]);
    let (told, heat) = told_apart(herds);
    vec![
        Row {
            beside: rule.map(|own| (own.rule.words, own.stands.within_24h)),
            ..row(
                "heats called before the best window closes (24 h after activity rises)",
                heats(|_| true),
                Unit::Share,
                "95 %",
            )
        },
        row("… heats that show", heats(|case| case.clinical), Unit::Share, ""),
        row("… silent heats", heats(|case| !case.clinical), Unit::Share, ""),
        // What people noted in those hours stands in the log, and speaks for itself.
        row("… heats that nobody noted in those hours", heats(|case| !is_noted(case)), Unit::Share, ""),
        row("… of them those that show", heats(|case| case.clinical && !is_noted(case)), Unit::Share, ""),
        Row {
            beside: Some(("the most frequent class", heat)),
            ..row("heat told from illness among called cows down in milk", told, Unit::Share, "95 %")
        },
    ]
}

/// From here on a case has put her down in milk: share of the whole udder.
const DOWN_FROM: f64 = 0.10;

/// Of cases that took a tenth of her milk and more and that were called: whether the likeliest finding of the first round that
/// showed any was heat for a heat and an illness for an illness; and as often the most frequent class would be right.
fn told_apart(herds: &[Heard]) -> (Figure, Figure) {
    let (mut right, mut heats) = (Vec::new(), 0_u32);
    for heard in herds {
        for case in cases(heard, &["heat", "udder", "metabolic", "gut", "feet", "fever"]) {
            let until = hours_after(case.first_sign, 48).min(case.ended.max(hours_after(case.began, 36)));
            let other = |own: &&Case| {
                own.animal == case.animal
                    && own.is_illness() != case.is_illness()
                    && own.is_near(case.began, until, count::MARGIN)
            };
            if case.milk_loss < DOWN_FROM || heard.truth.cases.iter().any(|own| other(&own)) {
                continue;
            }
            let hers =
                heard.of_cow(&case.animal).iter().filter(|said| case.began <= said.at && said.at <= until);
            let shown: Vec<&Said> = hers.filter(|said| said.shown.is_some()).collect();
            let Some(first) = shown.first().map(|said| said.at) else { continue };
            let likeliest = shown
                .iter()
                .filter(|said| said.at == first)
                .max_by(|a, b| a.probability.total_cmp(&b.probability));
            heats += u32::from(!case.is_illness());
            right.push(likeliest.is_some_and(|said| (said.cause == "heat") != case.is_illness()));
        }
    }
    let whole = right.len() as u32;
    (share(right), Figure::Share { part: heats.max(whole - heats), whole })
}

fn early(herds: &[Heard], beside: &[Beside]) -> Vec<Row> {
    // A day before people notice; cases that nobody noticed are not asked for.
    let before = |kinds: &[&str], accepts: fn(&Said, &Case) -> bool| {
        of_cases(herds, kinds, |heard, case| {
            let until = earlier(case.noticed?, SignedDuration::from_hours(24));
            Some(is_called(heard, case, until, |said| accepts(said, case)))
        })
    };
    let all = &["metabolic", "gut", "feet"][..];
    let right: fn(&Said, &Case) -> bool = |said, case| said.cause == case.kind;
    let rule = beside.iter().find(|own| own.rule.kinds.contains(&"gut"));
    let of_rule = rule.map(|own| (own.rule.words, rule_early(herds, all, own)));
    let mut rows = vec![Row {
        beside: of_rule,
        ..row(
            "metabolic, gut, feet called at least one day before people notice",
            before(all, right),
            Unit::Share,
            "70 %",
        )
    }];
    rows.push(row(
        "… called as any illness",
        before(all, |said, _| Cause::from_word(said.cause).is_some_and(Cause::is_illness)),
        Unit::Share,
        "",
    ));
    for kind in ["metabolic", "gut", "feet"] {
        rows.push(row(format!("… {kind}"), before(&[kind], right), Unit::Share, ""));
    }
    rows.push(row(
        "fever called at least one day before people notice",
        before(&["fever"], right),
        Unit::Share,
        "",
    ));
    rows
}

fn rule_early(herds: &[Heard], kinds: &[&str], beside: &Beside) -> Figure {
    of_cases(herds, kinds, |heard, case| {
        let until = earlier(case.noticed?, SignedDuration::from_hours(24));
        Some(heard.rules[2].iter().any(|mark| {
            mark.animal == case.animal
                && beside.rule.calls_from <= mark.strength
                && case.began <= mark.at
                && mark.at <= until
        }))
    })
}

/// Faults that a call on the box must name.
const FAULTS: [Cause; 5] =
    [Cause::MilkMeter, Cause::ConductivityProbe, Cause::Attachment, Cause::FeedDispenser, Cause::IdleFault];

fn of_boxes(herds: &[Heard]) -> Vec<Row> {
    let named = |kinds: &[Cause], cup: bool| {
        share(herds.iter().flat_map(|heard| {
            kinds
                .iter()
                .flat_map(move |kind| {
                    faults::due(heard, kind.word())
                        .map(move |(fault, due)| faults::is_named(heard, fault, due, cup))
                })
                .collect::<Vec<_>>()
        }))
    };
    let mut rows = vec![row(
        "box or probe fault named on the box within 24 h (a drift: once it reaches 6 %)",
        named(&FAULTS, false),
        Unit::Share,
        "95 %",
    )];
    for cause in FAULTS {
        rows.push(row(format!("… {}", cause.word()), named(&[cause], false), Unit::Share, ""));
    }
    rows.push(row("… with the right cup", named(&FAULTS[1..3], true), Unit::Share, ""));
    let kinds: Vec<&str> = FAULTS.iter().map(|cause| cause.word()).collect();
    for (what, kinds, only_false, aim) in [
        ("cow calls up while a fault is on", &kinds[..4], false, "below 10 %"),
        ("… false cow calls", &kinds[..4], true, ""),
        ("… false cow calls while a probe is off", &kinds[1..2], true, ""),
        ("… false cow calls while a meter is off", &kinds[..1], true, ""),
    ] {
        rows.push(row(what, faults::meanwhile(herds, kinds, only_false).up(), Unit::Up, aim));
    }
    rows
}

fn calibrated(herds: &[Heard]) -> Vec<Row> {
    let all: Vec<_> = herds.iter().map(calibration::tenths).collect();
    let figure = |counts: &dyn Fn(&str, &str) -> bool| {
        let each: Vec<calibration::Tenths> = all
            .iter()
            .map(|own| {
                calibration::sum(
                    own.iter()
                        .filter(|((subject, cause), _)| counts(subject, cause))
                        .map(|(_, tenths)| tenths),
                )
            })
            .collect();
        calibration::figure(&each)
    };
    let mut rows = vec![row(
        "stated probabilities: expected calibration error, every shown cow, cause and round",
        figure(&|subject, _| subject == "cow"),
        Unit::Plain,
        "at most 0.05",
    )];
    for cause in Cause::ALL {
        rows.push(row(format!("… {}", cause.word()), figure(&|_, own| own == cause.word()), Unit::Plain, ""));
    }
    rows
}

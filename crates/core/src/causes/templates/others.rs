//! Feet, what the signals do not say, and days and milkings that pass by themselves.

use super::{MOSTLY, NEARLY_ALWAYS, OFTEN, Template, course};
use crate::{causes::Cause, expect::Signal};

/// Comes within days and stays.
const STAYS: &[(f64, f64)] = &[(0.0, 0.4), (1.0, 0.8), (2.0, 1.0), (10.0, 1.0)];
/// As wide as something unknown must be.
const ANY: &[(f64, f64)] = &[(0.0, 0.3), (1.0, 1.0), (5.0, 1.0), (10.0, 0.8)];

pub(super) const FEET: Template = Template {
    cause: Cause::Feet,
    name: "feet or legs",
    stray: false,
    in_quarter: false,
    courses: &[
        course(
            Signal::Activity,
            -0.20,
            STAYS,
            NEARLY_ALWAYS,
            "stated default: she walks less; no course found in print",
        ),
        course(
            Signal::Eating,
            -0.32,
            STAYS,
            MOSTLY,
            "−74 (SE 25) of some 230 min a day at the bunk, fewer bouts (Miguel-Pacheco et al. 2014)",
        ),
        course(
            Signal::Visits,
            -0.20,
            STAYS,
            MOSTLY,
            "direction: fewer box visits (Miguel-Pacheco et al. 2014), −0.3 milkings a day (King et al., JDS 100, 2017, from \
             memory), which is a tenth; size: stated default, visits that are turned away fall first",
        ),
        course(
            Signal::Interval,
            0.12,
            STAYS,
            MOSTLY,
            "−0.3 of 2.8 milkings a day (King et al., JDS 100, 2017, from memory)",
        ),
        course(Signal::Lying, 0.10, STAYS, OFTEN, "stated default: she lies more; some stand more"),
        course(Signal::Milk, -0.05, STAYS, OFTEN, "−1.6 kg a day (King et al., JDS 100, 2017, from memory)"),
        course(
            Signal::Rumination,
            -0.03,
            STAYS,
            OFTEN,
            "−7.9 (SE 3.9) min as logged (Miguel-Pacheco et al. 2014)",
        ),
        course(Signal::Weight, -0.015, STAYS, OFTEN, "stated default"),
    ],
    silent: &[
        Signal::QuarterMilk,
        Signal::Conductivity,
        Signal::Kicks,
        Signal::MilkTemperature,
        Signal::FatProtein,
    ],
    weight: 1.0,
    holds_days: None,
    severities: &[(0.5, 0.35), (1.0, 0.40), (2.0, 0.25)],
    paces: &[(0.6, 0.2), (1.5, 0.3), (4.0, 0.5)],
};

pub(super) const UNCLEAR: Template = Template {
    cause: Cause::Unclear,
    name: "something is wrong",
    stray: false,
    in_quarter: false,
    courses: &[
        course(
            Signal::Milk,
            -0.22,
            ANY,
            NEARLY_ALWAYS,
            "stated default, of the order of King et al., JDS 100, 2017 (from memory): −1.2 to −4.4 kg/d in metabolic, gut and \
             lung illness",
        ),
        course(
            Signal::Interval,
            0.25,
            ANY,
            &[(0.0, 0.30), (0.5, 0.30), (1.0, 0.25), (2.0, 0.15)],
            "stated default: fewer visits in lame and ill cows, direction only (Miguel-Pacheco et al. 2014; King et al. 2017)",
        ),
        course(Signal::Rumination, -0.15, ANY, OFTEN, "stated default: as wide as something unknown must be"),
        course(Signal::Activity, -0.15, ANY, OFTEN, "stated default: as wide as something unknown must be"),
        course(Signal::Feed, -0.25, ANY, OFTEN, "stated default: as wide as something unknown must be"),
    ],
    silent: &[Signal::QuarterMilk, Signal::Conductivity, Signal::Kicks],
    weight: 1.0,
    holds_days: None,
    severities: &[(0.5, 0.35), (1.0, 0.40), (2.0, 0.25)],
    paces: &[(1.0, 0.6), (3.0, 0.4)],
};

/// A bad day behind her.
const A_DAY: &[(f64, f64)] = &[(0.0, 0.4), (0.3, 1.0), (1.0, 1.0), (1.5, 0.3), (2.0, 0.0)];

pub(super) const PASSED: Template = Template {
    cause: Cause::Well,
    name: "days that have passed",
    stray: false,
    in_quarter: false,
    courses: &[
        course(
            Signal::Milk,
            -0.12,
            A_DAY,
            &[(0.0, 0.20), (0.5, 0.30), (1.0, 0.30), (2.0, 0.20)],
            "stated default: a disturbed day, a milking missed",
        ),
        course(
            Signal::Interval,
            0.25,
            &[(0.0, 0.5), (0.3, 1.0), (1.0, 1.0), (1.5, 0.2), (2.0, 0.0)],
            &[(0.0, 0.50), (1.0, 0.30), (2.0, 0.15), (3.0, 0.05)],
            "stated default: a restless or disturbed day; a milking that nobody wrote down doubles one interval",
        ),
        course(Signal::Rumination, -0.12, A_DAY, OFTEN, "stated default: a restless or disturbed day"),
        course(Signal::Eating, -0.15, A_DAY, OFTEN, "stated default: a restless or disturbed day"),
        course(Signal::Feed, -0.15, A_DAY, OFTEN, "stated default: a restless or disturbed day"),
        course(Signal::Visits, -0.20, A_DAY, OFTEN, "stated default: a restless or disturbed day"),
    ],
    silent: &[Signal::QuarterMilk, Signal::Conductivity, Signal::Kicks],
    weight: 1.0,
    holds_days: None,
    severities: &[(0.5, 0.40), (1.0, 0.40), (2.0, 0.20)],
    paces: &[(0.4, 0.30), (1.0, 0.65), (2.0, 0.04), (4.0, 0.007), (6.5, 0.003)],
};

pub(super) const DISTURBED: Template = Template {
    cause: Cause::Well,
    name: "moved or disturbed",
    stray: false,
    in_quarter: false,
    courses: &[
        course(
            Signal::Activity,
            0.22,
            &[(0.0, 0.8), (0.3, 1.0), (1.5, 0.8), (3.0, 0.2), (4.0, 0.0)],
            &[(0.5, 0.45), (1.0, 0.40), (1.5, 0.15)],
            "stated default: a new pen, a mate in heat, visitors: more steps for a day or two, flatter than heat",
        ),
        course(Signal::Rumination, -0.08, A_DAY, OFTEN, "stated default: a disturbed day"),
        course(Signal::Lying, -0.10, A_DAY, OFTEN, "stated default: a disturbed day"),
        course(Signal::Milk, -0.04, A_DAY, OFTEN, "stated default: a disturbed day"),
    ],
    silent: &[Signal::QuarterMilk, Signal::Conductivity, Signal::Kicks],
    weight: 0.35,
    holds_days: None,
    severities: &[(0.6, 0.50), (1.0, 0.50)],
    paces: &[(0.5, 0.4), (1.0, 0.6)],
};

pub(super) const SLIPPED: Template = Template {
    cause: Cause::Well,
    name: "a cup that lost a quarter's milk once",
    stray: false,
    in_quarter: true,
    courses: &[course(
        Signal::QuarterMilk,
        -0.8,
        // One milking of a cow that is milked every six hours or less often.
        &[(0.0, 1.0), (0.25, 1.0), (0.26, 0.0)],
        &[(0.3, 0.30), (1.0, 0.30), (2.0, 0.20), (4.0, 0.20)],
        "stated default: it slipped, drew air, or was taken off too soon: any part of the milk is lost, and what came reads as usual",
    )],
    silent: &[Signal::Conductivity, Signal::Kicks],
    // Once in 500 milkings of a cup.
    weight: 0.4,
    holds_days: None,
    severities: &[(1.0, 1.0)],
    paces: &[(1.0, 1.0)],
};

//! Heat.

use super::{OFTEN, SOMETIMES, Template, course};
use crate::{causes::Cause, expect::Signal};

/// A heat is one until the egg is shed: 24 to 33 h after its onset (`sources.md` §4.3).
const HOLDS_D: f64 = 1.25;

/// On the day and a little after it.
const THE_DAY: &[(f64, f64)] = &[(0.0, 0.5), (0.2, 1.0), (0.7, 0.9), (1.1, 0.2), (1.5, 0.0)];

pub(super) const HEAT: Template = Template {
    cause: Cause::Heat,
    name: "in heat",
    stray: false,
    in_quarter: false,
    courses: &[
        course(
            Signal::Activity,
            0.85,
            &[(0.0, 0.5), (0.12, 1.0), (0.42, 1.0), (0.60, 0.15), (0.85, 0.0)],
            &[(0.25, 0.20), (0.6, 0.30), (1.0, 0.30), (1.6, 0.20)],
            "size: 2 to 4 times her own by bins of 2 h (Roelofs 2005, from memory), less over 4 h; length: 8 to 20 h, De Rensis \
             et al. 2024, Løvendahl & Chagunda 2010; form: stated default",
        ),
        course(
            Signal::Rumination,
            -0.22,
            THE_DAY,
            &[(0.0, 0.20), (0.5, 0.30), (1.0, 0.35), (1.7, 0.15)],
            "size: −17 % over the day, herds −14 to −24 %, cows −71 to +16 % (Reith & Hoy, JDS 95:6416, 2012); more at its height",
        ),
        course(
            Signal::Lying,
            -0.30,
            &[(0.0, 0.5), (0.12, 1.0), (0.5, 0.9), (0.8, 0.1), (1.0, 0.0)],
            OFTEN,
            "direction: resting least on the day (Kansas State report 8(6), 2022); size: stated default",
        ),
        course(Signal::Eating, -0.15, THE_DAY, OFTEN, "stated default: restless, so less at the bunk"),
        course(
            Signal::Milk,
            -0.05,
            &[(0.0, 0.4), (0.3, 1.0), (0.9, 0.8), (1.3, 0.0), (1.6, -0.4), (2.2, 0.0)],
            &[(0.0, 0.40), (1.0, 0.35), (2.5, 0.25)],
            "unchanged to −10 % on the day, some gain the next (sources.md §4.3, inconsistent): wide",
        ),
        course(Signal::Interval, 0.15, THE_DAY, SOMETIMES, "stated default: her hours are out of order"),
        course(Signal::Feed, -0.10, THE_DAY, OFTEN, "stated default: restless, so less eaten in the box"),
        course(
            Signal::MilkTemperature,
            0.25,
            THE_DAY,
            OFTEN,
            "stated default: a restless cow is a little warmer",
        ),
    ],
    silent: &[Signal::QuarterMilk, Signal::Conductivity, Signal::Kicks],
    weight: 1.0,
    holds_days: Some(HOLDS_D),
    severities: &[(0.6, 0.35), (1.0, 0.40), (1.6, 0.25)],
    // 8 to 20 h long, as the source of her activity has it.
    paces: &[(0.7, 0.5), (1.3, 0.5)],
};

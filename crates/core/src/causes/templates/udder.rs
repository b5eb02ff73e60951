//! An inflamed quarter.

use super::{Course, MOSTLY, OFTEN, SOMETIMES, Template, course};
use crate::{causes::Cause, expect::Signal};

/// With the whole cow: over half of the cases show in her as a whole, *E. coli* four in five (Stangaferro II, JDS 99, 2016).
const WHOLE: &[(f64, f64)] = &[(0.0, 0.4), (0.5, 0.9), (1.0, 1.0), (3.0, 0.8), (6.0, 0.3), (10.0, 0.1)];

pub(super) const UDDER: Template = Template {
    cause: Cause::Udder,
    name: "inflamed quarter",
    stray: false,
    in_quarter: true,
    courses: &[
        Course {
            signal: Signal::QuarterMilk,
            size: -0.40,
            shape: &[(0.0, 0.25), (0.5, 0.8), (1.0, 1.0), (4.0, 1.0), (7.0, 0.8), (10.0, 0.6)],
            share: &[(0.0, 0.05), (0.5, 0.30), (1.0, 0.40), (2.0, 0.25)],
            source: "stated default: no course of one quarter's share was found in print; a third of the quarter's milk",
        },
        Course {
            signal: Signal::Conductivity,
            size: 1.5,
            shape: &[(0.0, 0.3), (0.5, 0.9), (1.0, 1.0), (3.0, 1.0), (7.0, 0.7), (10.0, 0.5)],
            share: &[(0.0, 0.15), (0.5, 0.30), (1.0, 0.35), (2.0, 0.20)],
            source: "size: Norberg et al., JDS 87:1099, 2004, clinical 6.44 less healthy 4.87 mS/cm (from memory); \
                         shape: stated default, hour-by-hour course not found in print",
        },
        Course {
            signal: Signal::Kicks,
            size: 0.20,
            shape: &[(0.0, 0.7), (0.5, 1.0), (3.0, 1.0), (6.0, 0.4), (10.0, 0.1)],
            share: &[(0.0, 0.45), (1.0, 0.35), (2.0, 0.20)],
            source: "stated default: a sore quarter is kicked off more often, common practice",
        },
        Course {
            signal: Signal::Milk,
            size: -0.15,
            shape: &[(0.0, 0.3), (1.0, 1.0), (4.0, 1.0), (10.0, 0.8)],
            share: &[(0.0, 0.25), (0.5, 0.25), (1.0, 0.30), (2.0, 0.20)],
            source: "size: Hagnestam et al., JDS 2007, −1 to −8 kg on the day, so −3 to −27 % of 30 kg; shape: stated default",
        },
        Course {
            signal: Signal::Interval,
            size: 0.12,
            shape: &[(0.0, 0.5), (0.5, 1.0), (3.0, 1.0), (7.0, 0.3), (10.0, 0.0)],
            share: &[(0.0, 0.45), (1.0, 0.35), (2.0, 0.20)],
            source: "stated default: a dull cow comes later, common practice",
        },
        course(
            Signal::Flow,
            -0.15,
            &[(0.0, 0.4), (1.0, 1.0), (4.0, 1.0), (10.0, 0.6)],
            OFTEN,
            "size: −0.32 to −0.41 of 2.2 kg/min by conductivity, Kuropatwińska et al. 2020; shape: stated default",
        ),
        course(
            Signal::Cells,
            2.3,
            &[(0.0, 0.6), (0.5, 1.0), (5.0, 1.0), (10.0, 0.7)],
            &[(0.0, 0.10), (0.5, 0.30), (1.0, 0.40), (1.5, 0.20)],
            "stated default: ten times the cells of a sound udder; the whole udder's milk thins one quarter's",
        ),
        course(
            Signal::MilkTemperature,
            0.8,
            &[(0.0, 0.6), (0.4, 1.0), (1.5, 0.9), (3.0, 0.3), (5.0, 0.0)],
            OFTEN,
            "sources.md §4.2: fever 0.5 to 1 °C for one or two days, common practice; in every other udder case, stated default",
        ),
        course(
            Signal::Blood,
            1.8,
            &[(0.0, 0.8), (1.0, 1.0), (4.0, 0.6), (8.0, 0.1)],
            SOMETIMES,
            "stated default: six times her own reading, in one case of four",
        ),
        course(
            Signal::Lactose,
            -0.15,
            &[(0.0, 0.5), (1.0, 1.0), (5.0, 1.0), (10.0, 0.6)],
            OFTEN,
            "stated default: lactose falls where salts rise; the whole udder's milk thins one quarter's",
        ),
        course(
            Signal::Rumination,
            -0.12,
            WHOLE,
            OFTEN,
            "direction: Stangaferro II, JDS 99, 2016, 58 % of cases seen by rumination and activity; size: stated default",
        ),
        course(Signal::Activity, -0.12, WHOLE, SOMETIMES, "direction: as rumination; size: stated default"),
        course(Signal::Eating, -0.15, WHOLE, OFTEN, "stated default: a dull cow eats less"),
        course(Signal::Feed, -0.15, WHOLE, MOSTLY, "stated default: a dull cow leaves feed in the box"),
        course(Signal::Visits, -0.20, WHOLE, OFTEN, "stated default: a dull cow comes less often"),
    ],
    silent: &[],
    weight: 1.0,
    holds_days: None,
    severities: &[(0.5, 0.35), (1.0, 0.40), (2.0, 0.25)],
    paces: &[(1.0, 0.65), (4.0, 0.35)],
};

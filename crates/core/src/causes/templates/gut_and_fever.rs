//! What puts a cow off her feed: energy, rumen and gut, fever.

use super::{MOSTLY, NEARLY_ALWAYS, OFTEN, SOMETIMES, Template, course};
use crate::{causes::Cause, expect::Signal};

/// Creeps in over days and stays.
const CREEPS: &[(f64, f64)] = &[(0.0, 0.2), (1.5, 0.6), (3.0, 1.0), (10.0, 1.0)];
/// Comes within a day and stays for some.
const COMES: &[(f64, f64)] = &[(0.0, 0.4), (0.5, 0.8), (1.0, 1.0), (5.0, 1.0), (10.0, 0.7)];
/// Flares and fades.
const FLARES: &[(f64, f64)] = &[(0.0, 0.5), (0.4, 1.0), (2.0, 1.0), (3.5, 0.6), (6.0, 0.2), (10.0, 0.1)];

pub(super) const METABOLIC: Template = Template {
    cause: Cause::Metabolic,
    name: "short of energy after calving",
    stray: false,
    in_quarter: false,
    courses: &[
        course(
            Signal::FatProtein,
            0.25,
            CREEPS,
            MOSTLY,
            "ratios of 1.4 to 1.6 beside a mean of 1.16 (Jenkins et al. 2015; King et al., JDS 102:8417, 2019); the share that \
             shows it: stated default, sensitivity is two in three (van Knegsel et al. 2010)",
        ),
        course(
            Signal::Rumination,
            -0.08,
            CREEPS,
            MOSTLY,
            "−25 min of some 430 a day in subclinical ketosis (King et al., JDS 100, 2017, from memory)",
        ),
        course(
            Signal::Milk,
            -0.08,
            CREEPS,
            MOSTLY,
            "−1.2 kg a day and day in subclinical ketosis (King et al., JDS 100, 2017, from memory), over some days",
        ),
        course(
            Signal::Feed,
            -0.25,
            CREEPS,
            MOSTLY,
            "stated default: concentrate is refused first, common practice",
        ),
        course(Signal::Eating, -0.15, CREEPS, OFTEN, "stated default: less appetite"),
        course(
            Signal::Weight,
            -0.03,
            &[(0.0, 0.1), (3.0, 0.5), (8.0, 1.0), (10.0, 1.0)],
            MOSTLY,
            "stated default: 20 kg more than usual of the 30 to 50 kg that are lost after calving (sources.md §9)",
        ),
        course(Signal::Activity, -0.10, CREEPS, OFTEN, "stated default: dull"),
        course(Signal::Visits, -0.15, CREEPS, OFTEN, "stated default: dull"),
        course(Signal::Interval, 0.10, CREEPS, OFTEN, "stated default: dull"),
    ],
    silent: &[Signal::QuarterMilk, Signal::Conductivity, Signal::Kicks, Signal::MilkTemperature],
    weight: 1.0,
    holds_days: None,
    severities: &[(0.5, 0.35), (1.0, 0.40), (2.0, 0.25)],
    paces: &[(1.0, 0.6), (3.0, 0.4)],
};

pub(super) const GUT: Template = Template {
    cause: Cause::Gut,
    name: "rumen or gut",
    stray: false,
    in_quarter: false,
    courses: &[
        course(
            Signal::Rumination,
            -0.32,
            COMES,
            NEARLY_ALWAYS,
            "displaced stomach: −45 min a day and day from day −8 (King et al., JDS 100, 2017, from memory), seen on day −3 \
             (Stangaferro I, JDS 99, 2016); indigestion as deep, stated default",
        ),
        course(
            Signal::Milk,
            -0.20,
            COMES,
            NEARLY_ALWAYS,
            "displaced stomach: −4.4 kg a day and day from day −4 (King et al., JDS 100, 2017, from memory)",
        ),
        course(Signal::Eating, -0.35, COMES, NEARLY_ALWAYS, "stated default: off feed"),
        course(Signal::Feed, -0.45, COMES, NEARLY_ALWAYS, "stated default: off feed, concentrate first"),
        course(Signal::Activity, -0.15, COMES, OFTEN, "stated default: dull"),
        course(Signal::Visits, -0.25, COMES, MOSTLY, "stated default: dull"),
        course(Signal::Interval, 0.20, COMES, MOSTLY, "stated default: dull"),
        course(
            Signal::Weight,
            -0.03,
            &[(0.0, 0.2), (1.0, 0.7), (3.0, 1.0), (10.0, 1.0)],
            OFTEN,
            "stated default: 20 kg less rumen fill",
        ),
        course(Signal::FatProtein, 0.15, COMES, SOMETIMES, "stated default: she lives off her fat"),
    ],
    silent: &[Signal::QuarterMilk, Signal::Conductivity, Signal::Kicks, Signal::MilkTemperature],
    weight: 1.0,
    holds_days: None,
    severities: &[(0.5, 0.35), (1.0, 0.40), (1.7, 0.25)],
    paces: &[(0.6, 0.25), (1.0, 0.35), (4.0, 0.40)],
};

pub(super) const FEVER: Template = Template {
    cause: Cause::Fever,
    name: "ill all over",
    stray: false,
    in_quarter: false,
    courses: &[
        course(
            Signal::MilkTemperature,
            0.9,
            FLARES,
            &[(0.0, 0.10), (0.6, 0.30), (1.0, 0.40), (1.6, 0.20)],
            "0.5 to 1 °C over her own for one or two days: common practice (sources.md §4.2)",
        ),
        course(
            Signal::Rumination,
            -0.18,
            COMES,
            MOSTLY,
            "lungs: −50 min of some 430 a day (King et al., JDS 100, 2017, from memory); wombs: every other case seen by \
             rumination and activity (Stangaferro III, JDS 99, 2016)",
        ),
        course(
            Signal::Milk,
            -0.15,
            COMES,
            MOSTLY,
            "lungs: −4.1 kg a day (King et al., JDS 100, 2017, from memory)",
        ),
        course(Signal::Activity, -0.18, COMES, MOSTLY, "direction: Stangaferro III; size: stated default"),
        course(Signal::Eating, -0.22, COMES, MOSTLY, "stated default: less appetite"),
        course(Signal::Feed, -0.30, COMES, MOSTLY, "stated default: less appetite"),
        course(Signal::Visits, -0.25, COMES, MOSTLY, "stated default: dull"),
        course(Signal::Interval, 0.20, COMES, MOSTLY, "stated default: dull"),
    ],
    silent: &[Signal::QuarterMilk, Signal::Conductivity, Signal::Kicks, Signal::FatProtein],
    weight: 1.0,
    holds_days: None,
    severities: &[(0.5, 0.35), (1.0, 0.40), (2.0, 0.25)],
    paces: &[(1.0, 0.75), (2.5, 0.25)],
};

//! One signal that strays by itself, with nothing the matter.
//!
//! A cow's standing moves for reasons that no row tells: an analyser set anew, another batch of feed, a collar that sits looser,
//! a mate that left. One signal then departs for days, and the others stay. An illness moves several; one that moves only one
//! has to be likelier than this.

use super::{OFTEN, Template, course};
use crate::{causes::Cause, expect::Signal};

/// Comes within a day and stays, or fades over a week or two.
const STAYS: &[(f64, f64)] = &[(0.0, 0.5), (1.0, 1.0), (10.0, 0.8)];

/// How far it goes from time to time.
const ANY_FAR: &[(f64, f64)] = &[(0.4, 0.35), (1.0, 0.40), (1.8, 0.25)];

/// What all of them share.
const STRAYS: Template = Template {
    cause: Cause::Well,
    name: "",
    stray: true,
    in_quarter: false,
    courses: &[],
    silent: &[Signal::QuarterMilk, Signal::Conductivity, Signal::Kicks],
    weight: 0.15,
    holds_days: None,
    severities: &[(0.7, 0.5), (1.2, 0.5)],
    paces: &[(0.5, 0.4), (1.0, 0.3), (4.0, 0.3)],
};

/// What an analyser of milk measures strays more often than what is worn: weight of such a template. Stated default.
const OF_SAMPLES: f64 = 0.35;

pub(super) const CELLS: Template = Template {
    cause: Cause::Well,
    name: "cells that rise by themselves",
    in_quarter: false,
    courses: &[
        course(
            Signal::Cells,
            1.5,
            &[(0.0, 0.8), (0.5, 1.0), (2.0, 0.8), (6.0, 0.5), (10.0, 0.4)],
            &[(0.5, 0.30), (1.0, 0.40), (2.0, 0.30)],
            "stated default: cells rise many times over without anything to see or feel, and fall again; infection without signs \
             is commoner than with (sources.md §10, Canada: most of the cost is subclinical)",
        ),
        course(
            Signal::Lactose,
            -0.12,
            &[(0.0, 0.6), (1.0, 1.0), (5.0, 0.8), (10.0, 0.5)],
            OFTEN,
            "stated default: lactose goes with the cells",
        ),
    ],
    weight: OF_SAMPLES,
    severities: &[(0.6, 0.40), (1.0, 0.40), (1.6, 0.20)],
    ..STRAYS
};

pub(super) const LACTOSE: Template = Template {
    cause: Cause::Well,
    name: "lactose that strays by itself",
    in_quarter: false,
    courses: &[course(
        Signal::Lactose,
        -0.25,
        STAYS,
        ANY_FAR,
        "stated default: an analyser that is set anew, thin feed, the end of a lactation",
    )],
    weight: OF_SAMPLES,
    ..STRAYS
};

pub(super) const FAT: Template = Template {
    cause: Cause::Well,
    name: "fat beside protein that strays by itself",
    in_quarter: false,
    courses: &[course(
        Signal::FatProtein,
        0.25,
        STAYS,
        ANY_FAR,
        "stated default: it goes with how the udder was emptied, with feed and sample",
    )],
    weight: OF_SAMPLES,
    ..STRAYS
};

pub(super) const LESS_ACTIVE: Template = Template {
    cause: Cause::Well,
    name: "activity that falls by itself",
    in_quarter: false,
    courses: &[course(
        Signal::Activity,
        -0.20,
        STAYS,
        ANY_FAR,
        "stated default: less walked where there is less to walk for",
    )],
    ..STRAYS
};

pub(super) const LESS_CUD: Template = Template {
    cause: Cause::Well,
    name: "rumination that falls by itself",
    in_quarter: false,
    courses: &[course(
        Signal::Rumination,
        -0.10,
        STAYS,
        ANY_FAR,
        "stated default: another batch of feed, a collar that sits otherwise",
    )],
    ..STRAYS
};

pub(super) const LESS_AT_BUNK: Template = Template {
    cause: Cause::Well,
    name: "eating that falls by itself",
    in_quarter: false,
    courses: &[course(
        Signal::Eating,
        -0.20,
        STAYS,
        ANY_FAR,
        "stated default: another batch of feed, another place at the bunk",
    )],
    ..STRAYS
};

pub(super) const LESS_FEED: Template = Template {
    cause: Cause::Well,
    name: "feed left in the box by itself",
    in_quarter: false,
    courses: &[course(
        Signal::Feed,
        -0.20,
        STAYS,
        ANY_FAR,
        "stated default: more offered than she cares for, shorter visits",
    )],
    ..STRAYS
};

pub(super) const FEWER_VISITS: Template = Template {
    cause: Cause::Well,
    name: "visits that fall by themselves",
    in_quarter: false,
    courses: &[course(
        Signal::Visits,
        -0.25,
        STAYS,
        ANY_FAR,
        "stated default: other limits, other mates at the box",
    )],
    ..STRAYS
};

pub(super) const LIGHTER: Template = Template {
    cause: Cause::Well,
    name: "weight that falls by itself",
    in_quarter: false,
    courses: &[course(Signal::Weight, -0.02, STAYS, ANY_FAR, "stated default: rumen fill, a scale set anew")],
    ..STRAYS
};

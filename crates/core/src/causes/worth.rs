//! Is it worth a person's walk, and how soon?
//!
//! # Equation
//! worth = max(P · miss − call, ½ · P · miss − glance);  shown if worth > 0
//! cost of waiting an hour = P · size · fresh · miss / hours
//!   miss  what late discovery costs that a look now would save    call  what one look costs, trust included
//!   glance  what a look in passing costs; it finds half of what a proper look finds
//!   hours  time in which that saving is lost    size  severity within 0.5 to 2    fresh  1 in the first day, falling to 0.3
//!
//! `now` if waiting for the next walk ([`Settings::walk_hours`]) costs more than being sent out for one cow
//! ([`Settings::errand`]); `today` if a proper look is worth more than a glance and waiting for the next walk costs more than
//! what it may spare, call · (1 − P): by then more is known, and a look that was for nothing need not be taken; else `watch`.
//! # Source
//! `sources.md` §10 where named; the share of a case's cost that an early look saves is a stated default.

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::{Cause, Finding, Subject, Urgency, noise::Noise, priors::Rates};
use crate::time::hours_between;

/// What a miss and a call of one cause cost.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Cost {
    /// Of which cause.
    pub cause: Cause,
    /// What a case costs, money of `year`.
    pub case: f64,
    /// Share of it that a look now saves against being found late, 0 to 1.
    pub saved: f64,
    /// What one look costs, found or not.
    pub call: f64,
    /// What a look in passing costs.
    pub glance: f64,
    /// Hours in which the saving is lost.
    pub hours: f64,
    /// Currency, ISO 4217.
    pub currency: String,
    /// Money of which year.
    pub year: u16,
    /// Where the figures come from.
    pub source: String,
}

/// What the judging may be told by the farm. Every default is stated with its source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Costs by cause.
    pub costs: Vec<Cost>,
    /// Calls a manager can take in a day. Urgent ones are never cut.
    pub most_calls_a_day: u32,
    /// What it costs to be sent out at once for one cow, in the money of `costs`. Stated default.
    pub errand: f64,
    /// Longest wait until the next walk, h: 05:30 and 16:00 leave 13.5.
    pub walk_hours: f64,
    /// How often causes begin.
    pub rates: Rates,
    /// How departures wander.
    pub noise: Noise,
}

impl Default for Settings {
    fn default() -> Settings {
        Settings {
            costs: stated_costs(),
            most_calls_a_day: 15,
            errand: 30.0,
            walk_hours: 13.5,
            rates: Rates::default(),
            noise: Noise::default(),
        }
    }
}

/// One row of the stated table: case, share saved, (look, glance), hours, money of which year, source.
type Stated = (Cause, f64, f64, (f64, f64), f64, u16, &'static str);

/// Stated defaults of the cost table, US$ of the year each row names (`sources.md` §10; money of different years is not
/// converted). A look is reckoned at US$20 an hour.
const STATED: [Stated; 14] = [
    (
        Cause::Udder,
        444.0,
        0.25,
        (6.7, 3.3),
        24.0,
        2015,
        "case: Rollin et al., Prev Vet Med 122:257, 2015, clinical mastitis in the first 30 days; share saved and hours: \
         stated defaults; a call: twenty minutes to find, bring and strip her; a glance: ten",
    ),
    (
        Cause::Heat,
        29.0,
        0.6,
        (3.3, 1.5),
        24.0,
        2005,
        "case: a missed heat, 21 days at US$1.37 a day open beyond 160 d (Meadows et al., JDS 88:1244, 2005; 9 to 36 by days \
         open); share saved: stated default, not every service holds; a call: ten minutes",
    ),
    (
        Cause::Metabolic,
        112.0,
        0.35,
        (8.0, 4.0),
        48.0,
        2014,
        "case: McArt et al. 2014/2015, hyperketonemia alone; share saved and hours: stated defaults; a call: a quarter of \
         an hour and a test",
    ),
    (
        Cause::Gut,
        300.0,
        0.3,
        (8.0, 4.0),
        24.0,
        2017,
        "case: stated default below a displaced stomach (about US$430 to 640, Liang et al., JDS 100, 2017, from memory), for \
         most are days off feed; share saved and hours: stated defaults",
    ),
    (
        Cause::Feet,
        197.0,
        0.3,
        (8.0, 4.0),
        168.0,
        2018,
        "case: mean of digital dermatitis 137, white line 203 and sole ulcer 252 (Dolecheck et al., ADSA 2018); share saved \
         and hours: stated defaults",
    ),
    (
        Cause::Fever,
        250.0,
        0.3,
        (8.0, 4.0),
        24.0,
        2015,
        "stated default: no cost of lungs and wombs together stands in sources.md",
    ),
    (
        Cause::Unclear,
        160.0,
        0.25,
        (10.0, 5.0),
        48.0,
        2015,
        "case: stated default between US$112 (hyperketonemia alone, McArt et al.) and US$203 (white line, Dolecheck et al. \
         2018); share saved and hours: stated defaults; a call: half an hour to look her all over; a glance: a quarter",
    ),
    (
        Cause::MilkMeter,
        150.0,
        0.5,
        (15.0, 8.0),
        72.0,
        2026,
        "stated default: wrong yields, feed and calls until it is found",
    ),
    (
        Cause::ConductivityProbe,
        120.0,
        0.5,
        (10.0, 5.0),
        72.0,
        2026,
        "stated default: missed and needless looks at udders",
    ),
    (
        Cause::Attachment,
        200.0,
        0.5,
        (10.0, 5.0),
        24.0,
        2026,
        "stated default: failed milkings, fetching, full udders",
    ),
    (
        Cause::FeedDispenser,
        200.0,
        0.5,
        (10.0, 5.0),
        48.0,
        2026,
        "stated default: cows short of feed they are said to have eaten",
    ),
    (Cause::IdleFault, 150.0, 0.8, (5.0, 3.0), 6.0, 2026, "stated default: the milkings of some hours"),
    (
        Cause::HerdMilk,
        600.0,
        0.5,
        (30.0, 15.0),
        72.0,
        2015,
        "stated default: 3 % of 120 cows' milk over a week at US$0.45 a kg, half of it saved",
    ),
    (
        Cause::HerdIntake,
        600.0,
        0.5,
        (30.0, 15.0),
        48.0,
        2015,
        "stated default, as the herd's milk: it follows within days",
    ),
];

fn stated_costs() -> Vec<Cost> {
    STATED
        .iter()
        .map(|(cause, case, saved, (call, glance), hours, year, source)| Cost {
            cause: *cause,
            case: *case,
            saved: *saved,
            call: *call,
            glance: *glance,
            hours: *hours,
            currency: "USD".to_owned(),
            year: *year,
            source: (*source).to_owned(),
        })
        .collect()
}

/// Share of what a proper look finds that a look in passing finds: stated default.
const GLANCE_FINDS: f64 = 0.5;

impl Settings {
    /// What a miss of `cause` costs that a look now would save; 0 where no cost is stated.
    pub fn miss(&self, cause: Cause) -> f64 {
        self.cost(cause).map_or(0.0, |cost| cost.case * cost.saved)
    }

    /// The row of the cost table.
    pub fn cost(&self, cause: Cause) -> Option<&Cost> {
        self.costs.iter().find(|cost| cost.cause == cause)
    }

    /// Sets worth and urgency of a finding judged at `at`.
    pub fn value(&self, finding: &mut Finding, at: Timestamp) {
        let Some(cost) = self.cost(finding.cause) else { return };
        let miss = cost.case * cost.saved;
        let look = finding.probability * miss - cost.call;
        let glance = GLANCE_FINDS * finding.probability * miss - cost.glance;
        finding.worth = look.max(glance);
        let age_days = hours_between(finding.since, at) / 24.0;
        let fresh = (1.0 - 0.175 * (age_days - 1.0).max(0.0)).clamp(0.3, 1.0);
        let an_hour =
            finding.probability * finding.severity.clamp(0.5, 2.0) * fresh * miss / cost.hours.max(1.0);
        finding.urgency = if self.errand < an_hour * self.walk_hours {
            Urgency::Now
        } else if glance < look && cost.call * (1.0 - finding.probability) < an_hour * self.walk_hours {
            Urgency::Today
        } else {
            Urgency::Watch
        };
    }
}

/// What is shown: every finding whose look is worth more than it costs, most worth first, no more than the day can take.
///
/// Of one cow only causes that do not explain the same signals twice: of the illnesses of the whole cow the likeliest speaks
/// for all, and another only where it is itself likelier than not; one that does not say what it is goes where any other
/// cause of the same cow, heat too, is likelier. A finding that needs a person now is never cut by the day's limit.
pub fn cut(findings: Vec<Finding>, settings: &Settings) -> Vec<Finding> {
    let all: Vec<(Subject, Cause, f64)> =
        findings.iter().map(|finding| (finding.subject, finding.cause, finding.probability)).collect();
    let whole = |cause: Cause| cause.is_illness() && cause != Cause::Udder;
    let mut shown: Vec<Finding> = findings
        .into_iter()
        .filter(|finding| 0.0 < finding.worth)
        .filter(|finding| {
            let mut hers = all.iter().filter(|(subject, cause, _)| {
                *subject == finding.subject && *cause != finding.cause && finding.cause.is_illness()
            });
            0.5 <= finding.probability
                || !whole(finding.cause)
                || !hers.any(|(_, cause, chance)| {
                    (whole(*cause) || finding.cause == Cause::Unclear) && finding.probability < *chance
                })
        })
        .collect();
    shown.sort_by(|a, b| {
        b.worth.total_cmp(&a.worth).then(a.subject.cmp(&b.subject)).then(a.cause.cmp(&b.cause))
    });
    let limit = settings.most_calls_a_day as usize;
    let mut kept = 0;
    shown.retain(|finding| {
        kept += 1;
        finding.urgency == Urgency::Now || kept <= limit
    });
    shown
}

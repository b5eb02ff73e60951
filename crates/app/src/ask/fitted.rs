//! What was fitted to the herd, in plain words, each with the span it lies in.
//!
//! Intervals are those of the fit itself, kept beside it: 95 %, the other parameters staying as they are. What has none
//! is left out: the curves of lactation are fitted as whole curves, and an interval of them would need the fit made again
//! on herds drawn anew from this one's cows.

use cowpath_core::say::{number, when};
use jiff::{Timestamp, tz::TimeZone};
use serde::Serialize;

use super::{farm::Barn, fitting};

/// The newest fit.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Fit {
    /// To rows known at this time, RFC 3339.
    pub rows_until: String,
    /// The same in words.
    pub rows_until_words: String,
    /// What was fitted.
    pub known: Vec<Known>,
    /// Why there are no intervals, where there are none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// One thing known of the herd.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Known {
    /// What it is, in plain words.
    pub what: &'static str,
    /// Its value.
    pub value: f64,
    /// Lower 95 % end; `None` where it is open.
    pub low95: Option<f64>,
    /// Upper 95 % end.
    pub high95: Option<f64>,
    /// Its unit.
    pub unit: &'static str,
    /// Value and span as a person reads them.
    pub words: String,
}

/// A parameter's name in the fit, what it is in plain words, its unit, decimals, and how it is turned into that unit.
type Way = (&'static str, &'static str, &'static str, usize, fn(f64) -> f64);

/// A spread on the logarithmic scale as per cent.
fn percent(log: f64) -> f64 {
    100.0 * log.exp_m1()
}

const WAYS: [Way; 11] = [
    ("κ", "An hour more since the last milking slows the making of milk by", "%", 1, |kappa| {
        -100.0 * (-kappa).exp_m1()
    }),
    ("noise of one milking", "One milking strays from what was expected by, usually", "%", 1, percent),
    (
        "passing error",
        "Besides that, it strays by an error that carries over to the next milking, usually",
        "%",
        1,
        percent,
    ),
    (
        "share of it at the next milking",
        "Of that error the next milking shows again (below zero: it is made up for)",
        "%",
        0,
        |share| 100.0 * share,
    ),
    (
        "wandering of the level a day",
        "A cow's own level moves from one day to the next by, usually",
        "%",
        2,
        percent,
    ),
    (
        "the herd's effect",
        "Days on which all cows give more or less together differ by, usually",
        "%",
        1,
        percent,
    ),
    (
        "spread of the rhythm between cows",
        "Cows differ in their rhythm over the day by, usually",
        "%",
        1,
        percent,
    ),
    (
        "wandering of the rhythm a day",
        "A cow's own rhythm moves from one day to the next by, usually",
        "%",
        2,
        percent,
    ),
    (
        "hours that make short intervals noisy",
        "A milking strays more (twice the variance) when she comes again after only",
        "h",
        1,
        |hours| hours,
    ),
    (
        "tail",
        "How seldom a milking strays wildly, in degrees of freedom (30: hardly ever; 3: often)",
        "",
        1,
        |df| df,
    ),
    (
        "share of left milk that comes",
        "Of what an incomplete milking left behind, the next one brings",
        "%",
        0,
        |share| 100.0 * share,
    ),
];

/// The newest fit kept by a time; `None` while published figures stand in.
pub fn newest(barn: &Barn, zone: &TimeZone, at: Timestamp) -> anyhow::Result<Option<Fit>> {
    let Some((turn, intervals)) = fitting::newest(barn, zone, at)? else { return Ok(None) };
    let note = intervals.is_none().then(|| {
        "This fit was made before intervals were kept; they come with the next one, in a week or so."
            .to_owned()
    });
    let intervals = intervals.unwrap_or_default();
    let known = WAYS.iter().filter_map(|(name, what, unit, decimals, turned)| {
        let (_, value, low, high, _) = intervals.iter().find(|own| own.0 == *name)?;
        let [value, low, high] = [*value, *low, *high].map(turned);
        let end = |figure: f64| (figure.is_finite()).then_some(figure);
        let space = if unit.is_empty() { String::new() } else { format!("{}{unit}", number::SPACE) };
        Some(Known {
            what,
            value,
            low95: end(low),
            high95: end(high),
            unit,
            words: format!(
                "{}{space} ({} to {}{space})",
                number::plain(value, *decimals),
                number::plain(low, *decimals),
                number::plain(high, *decimals)
            ),
        })
    });
    Ok(Some(Fit {
        rows_until: when::rfc3339(turn, zone),
        rows_until_words: when::instant(turn, at, zone),
        known: known.collect(),
        note,
    }))
}

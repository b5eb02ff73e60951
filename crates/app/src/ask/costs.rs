//! What it costs: the table that decides whether a call is shown and how soon, the farm's own figures over the stated ones,
//! and how the newest list would change with others.

use std::collections::BTreeMap;

use cowpath_core::{
    causes::{
        self, Cause, Urgency,
        costs::{OwnCost, OwnCosts, moneys},
    },
    say::{call, found, learned as words, when},
};
use jiff::{Timestamp, tz::TimeZone};
use serde::Serialize;

use super::{
    farm::Barn,
    learned,
    round::{Round, RoundCall},
    rounding,
    view::View,
};
use crate::trouble::{short, user};

/// What it costs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Costs {
    /// Name of the farm.
    pub farm: String,
    /// By cause.
    pub causes: Vec<CostRow>,
    /// Calls a manager can take in a day; urgent ones are never cut.
    pub most_calls_a_day: u32,
    /// What being sent out at once for one cow costs, in the money of the table.
    pub errand: f64,
    /// Longest wait until the next walk, h.
    pub walk_hours: f64,
    /// Which of those three are the farm's own.
    pub own: Vec<&'static str>,
    /// The farm's own figures, as they are sent to change them.
    pub words: OwnCosts,
    /// The version in force; `None`: the stated ones.
    pub version: Option<i64>,
    /// In words, since when.
    pub version_words: String,
    /// What is to be known before figures are compared: moneys of several years or currencies.
    pub notes: Vec<String>,
}

/// Costs of one cause.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CostRow {
    /// The cause's word.
    pub cause: &'static str,
    /// What it is called.
    pub name: &'static str,
    /// What a case costs.
    pub case: f64,
    /// Share of it that a look now saves, 0 to 1.
    pub saved: f64,
    /// What a proper look costs.
    pub look: f64,
    /// What a look in passing costs.
    pub glance: f64,
    /// Hours in which the saving is lost.
    pub hours: f64,
    /// Currency, ISO 4217.
    pub currency: String,
    /// Money of which year.
    pub year: u16,
    /// Which figures are the farm's own, by name.
    pub own: Vec<&'static str>,
    /// Where the stated figures come from.
    pub source: String,
    /// In words.
    pub words: String,
}

/// What costs do to the newest list.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Change {
    /// Time of the round, RFC 3339 in the farm's zone; empty while there are no rows.
    pub at: String,
    /// In words.
    pub summary: String,
    /// Calls that come.
    pub comes: Vec<ChangedCall>,
    /// Calls that go.
    pub goes: Vec<ChangedCall>,
    /// Calls of another urgency.
    pub moves: Vec<ChangedCall>,
    /// Calls that stay as they are.
    pub stays: Vec<ChangedCall>,
}

/// One call of such a change.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ChangedCall {
    /// Its identity.
    pub id: String,
    /// The sentence.
    pub sentence: String,
    /// Its urgency as it is; empty where it is not shown.
    pub before: &'static str,
    /// Its urgency as it would be; empty where it would not be shown.
    pub after: &'static str,
}

/// The stated costs.
fn stated() -> causes::Settings {
    causes::Settings::default()
}

/// What it costs, as it is in force.
pub fn costs(barn: &Barn, now: Timestamp) -> anyhow::Result<Costs> {
    let ways = barn.ways()?;
    let own = learned::own_costs(&barn.store)?;
    let version = barn.store.newest_costs()?;
    let in_force = version.as_ref().filter(|kept| kept.words != "{}");
    let version_words = match (&version, in_force) {
        (_, Some(kept)) => {
            format!("The farm's own, version {}, since {}", kept.id, then(kept.kept_at, now, &ways.zone))
        }
        (Some(kept), None) => format!("The stated ones again, since {}", then(kept.kept_at, now, &ways.zone)),
        (None, None) => "The stated ones: nobody has set others".into(),
    };
    Ok(Costs { version: version.as_ref().map(|kept| kept.id), version_words, ..told(ways.name, own) })
}

fn then(at: Timestamp, now: Timestamp, zone: &TimeZone) -> String {
    if at <= now { when::instant(at, now, zone) } else { when::minute(at, zone) }
}

/// The table with a farm's own figures, which need not be kept.
pub fn told(farm: String, own: OwnCosts) -> Costs {
    let stated = stated();
    let over = own.over(stated.clone());
    let all_own = [
        ("most calls a day", own.most_calls_a_day.is_some()),
        ("errand", own.errand.is_some()),
        ("walk hours", own.walk_hours.is_some()),
    ];
    Costs {
        farm,
        causes: over.costs.iter().map(|cost| row(cost, own.costs.get(&cost.cause))).collect(),
        most_calls_a_day: over.most_calls_a_day,
        errand: over.errand,
        walk_hours: over.walk_hours,
        own: all_own.into_iter().filter(|(_, own)| *own).map(|(name, _)| name).collect(),
        notes: Some(words::moneys(&moneys(&over))).filter(|note| !note.is_empty()).into_iter().collect(),
        words: own,
        version: None,
        version_words: String::new(),
    }
}

fn row(cost: &causes::Cost, own: Option<&OwnCost>) -> CostRow {
    let named = own.map_or(Vec::new(), |own| {
        let all = [
            ("case", own.case.is_some()),
            ("saved", own.saved.is_some()),
            ("look", own.look.is_some()),
            ("glance", own.glance.is_some()),
            ("hours", own.hours.is_some()),
            ("currency", own.currency.is_some()),
            ("year", own.year.is_some()),
        ];
        all.into_iter().filter(|(_, own)| *own).map(|(name, _)| name).collect()
    });
    CostRow {
        cause: cost.cause.word(),
        name: found::cause(cost.cause.word()),
        case: cost.case,
        saved: cost.saved,
        look: cost.call,
        glance: cost.glance,
        hours: cost.hours,
        currency: cost.currency.clone(),
        year: cost.year,
        own: named,
        source: cost.source.clone(),
        words: words::cost(cost),
    }
}

/// A cause by its word.
///
/// # Errors
/// Where it is none.
pub fn cause(word: &str) -> anyhow::Result<Cause> {
    Cause::from_word(word.trim()).ok_or_else(|| {
        let all = Cause::ALL.map(Cause::word).join(", ");
        user(
            format!("`{}` is no cause", short(word.trim())),
            "nothing was changed",
            format!("write one of {all}"),
        )
    })
}

/// Only what differs from the stated costs, checked. A row whose money is another currency's must say all three of its
/// figures: a case of one money and a look of another would be compared as if they were the same. A row whose case is
/// another is of the given year's money, or of this year's.
///
/// # Errors
/// Where a figure cannot be, or a row would mix moneys.
pub fn checked(own: OwnCosts, this_year: i16) -> anyhow::Result<OwnCosts> {
    let stated = stated();
    own.check().map_err(|error| refused(error.to_string(), "mend that figure".into()))?;
    let mut own = own.beyond(&stated);
    for (cause, row) in &mut own.costs {
        let moneys = [row.case, row.look, row.glance];
        if row.currency.is_some() && moneys.iter().any(Option::is_none) {
            return Err(refused(
                format!("{} would mix two currencies", cause.word()),
                "give the case, the look and the glance, all three in the new currency".into(),
            ));
        }
        if row.case.is_some() && row.year.is_none() {
            row.year = u16::try_from(this_year)
                .ok()
                .filter(|year| stated.cost(*cause).is_some_and(|cost| cost.year != *year));
        }
    }
    Ok(own)
}

/// The farm's own costs as a form holds them: `udder.case`, `udder.saved` in percent, `errand`. An empty field is as stated.
///
/// # Errors
/// Where a field is no number, or names nothing there is.
pub fn typed(fields: &BTreeMap<String, String>) -> anyhow::Result<OwnCosts> {
    let mut own = OwnCosts::default();
    for (name, word) in fields {
        let word = word.trim();
        if word.is_empty() {
            continue;
        }
        let number = || {
            let plain: String = word.chars().filter(|letter| !letter.is_whitespace()).collect();
            plain.parse::<f64>().map_err(|_| {
                refused(
                    format!("`{}` is no figure for {}", short(word), short(&name.replace('.', ", "))),
                    "write a number with a point, as in 6.7".into(),
                )
            })
        };
        let whole = |most: u32| {
            let figure = number()?;
            if figure.fract() == 0.0 && (0.0..=f64::from(most)).contains(&figure) {
                return Ok(figure as u32);
            }
            Err(refused(
                format!("`{}` is no whole number for {}", short(word), short(&name.replace('.', ", "))),
                format!("write a whole number up to {most}"),
            ))
        };
        match name.split_once('.') {
            None => match name.as_str() {
                "most_calls_a_day" => own.most_calls_a_day = Some(whole(1_000)?),
                "errand" => own.errand = Some(number()?),
                "walk_hours" => own.walk_hours = Some(number()?),
                _ => return Err(unknown(name)),
            },
            Some((word_of_cause, field)) => {
                let row = own.costs.entry(cause(word_of_cause)?).or_default();
                match field {
                    "case" => row.case = Some(number()?),
                    "saved" => row.saved = Some(number()? / 100.0),
                    "look" => row.look = Some(number()?),
                    "glance" => row.glance = Some(number()?),
                    "hours" => row.hours = Some(number()?),
                    "currency" => row.currency = Some(word.to_uppercase()),
                    "year" => row.year = u16::try_from(whole(9_999)?).ok(),
                    _ => return Err(unknown(name)),
                }
            }
        }
    }
    Ok(own)
}

/// Keeps the farm's own costs, all of them at once; what is not among them is as stated. Nothing is kept where nothing is
/// other than what is in force.
///
/// # Errors
/// As [`checked`]; nothing is kept then.
pub fn keep(barn: &mut Barn, own: OwnCosts, now: Timestamp) -> anyhow::Result<Costs> {
    let zone = barn.ways()?.zone;
    let own = checked(own, zone.to_datetime(now).year())?;
    if own != learned::own_costs(&barn.store)? {
        let words = serde_json::to_string(&own)?;
        barn.store.keep_costs(now, &words)?;
    }
    costs(barn, now)
}

/// How the list of a view would change with other costs.
pub fn change(barn: &Barn, view: &View, own: &OwnCosts) -> anyhow::Result<Change> {
    let rates = view.judging.settings.rates.clone();
    let settings = causes::Settings { rates, ..own.over(stated()) };
    let before = rounding::of_view(barn, view)?;
    let after = rounding::of_view_by(barn, view, &settings)?;
    Ok(compared(&before, &after))
}

/// While there are no rows.
pub fn no_change() -> Change {
    Change {
        at: String::new(),
        summary: "No rows have been read yet: there is no list that could change.".into(),
        comes: Vec::new(),
        goes: Vec::new(),
        moves: Vec::new(),
        stays: Vec::new(),
    }
}

fn compared(before: &Round, after: &Round) -> Change {
    let changed = |call: &RoundCall, before: &'static str, after: &'static str| ChangedCall {
        id: call.id.clone(),
        sentence: call.sentence.clone(),
        before,
        after,
    };
    let was = |call: &RoundCall| before.calls.iter().find(|own| own.id == call.id);
    let (mut comes, mut moves, mut stays) = (Vec::new(), Vec::new(), Vec::new());
    for call in &after.calls {
        match was(call) {
            None => comes.push(changed(call, "", call.urgency)),
            Some(own) if own.urgency != call.urgency => moves.push(changed(call, own.urgency, call.urgency)),
            Some(own) => stays.push(changed(call, own.urgency, call.urgency)),
        }
    }
    let goes: Vec<ChangedCall> = before
        .calls
        .iter()
        .filter(|call| !after.calls.iter().any(|own| own.id == call.id))
        .map(|call| changed(call, call.urgency, ""))
        .collect();
    let things = |count: usize, one: &str, many: &str| match count {
        0 => format!("none {one}"),
        1 => format!("1 {one}"),
        count => format!("{count} {many}"),
    };
    let calls = |count: usize| if count == 1 { "1 call".to_owned() } else { format!("{count} calls") };
    let summary = if comes.is_empty() && goes.is_empty() && moves.is_empty() {
        match stays.len() {
            0 => "The list is empty, and would be.".to_owned(),
            1 => "Nothing changes: the one call stays as it is.".into(),
            count => format!("Nothing changes: all {count} calls stay as they are."),
        }
    } else {
        format!(
            "{} of now would become {}: {}, {}, {}.",
            calls(before.calls.len()),
            if after.calls.is_empty() { "none".into() } else { after.calls.len().to_string() },
            things(comes.len(), "comes", "come"),
            things(goes.len(), "goes", "go"),
            things(moves.len(), "changes its urgency", "change their urgency"),
        )
    };
    Change { at: after.at.clone(), summary, comes, goes, moves, stays }
}

/// An urgency as a person reads it; empty: not shown.
pub fn urgency_words(word: &str) -> &'static str {
    match word {
        "now" => call::urgency(Urgency::Now),
        "today" => call::urgency(Urgency::Today),
        "watch" => call::urgency(Urgency::Watch),
        _ => "not shown",
    }
}

fn unknown(name: &str) -> anyhow::Error {
    refused(
        format!("`{}` is no cost", short(name)),
        "name it as the fields of the page do, as in udder.look or walk_hours".into(),
    )
}

fn refused(what: String, next: String) -> anyhow::Error {
    user(what, "the costs are as they were", next)
}

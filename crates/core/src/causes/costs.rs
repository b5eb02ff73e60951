//! What does the farm itself say that its cases cost, and are the figures of one money?
//!
//! A farm states only what it knows better; all else stays as stated ([`super::worth`]). Money of different years or
//! currencies is never converted: where several meet, [`moneys`] names them and the reader is told.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use super::{Cause, Cost, Settings};

/// What a farm says of one cause's costs; `None` stays as stated.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct OwnCost {
    /// What a case costs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub case: Option<f64>,
    /// Share of it that a look now saves, 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub saved: Option<f64>,
    /// What one proper look costs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub look: Option<f64>,
    /// What a look in passing costs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub glance: Option<f64>,
    /// Hours in which the saving is lost.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hours: Option<f64>,
    /// Currency, ISO 4217.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub currency: Option<String>,
    /// Money of which year.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub year: Option<u16>,
}

/// What a farm says of all its costs; `None` stays as stated.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct OwnCosts {
    /// By cause.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub costs: BTreeMap<Cause, OwnCost>,
    /// Calls a manager can take in a day.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub most_calls_a_day: Option<u32>,
    /// What being sent out at once for one cow costs.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub errand: Option<f64>,
    /// Longest wait until the next walk, h.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub walk_hours: Option<f64>,
}

/// A figure that cannot be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what} of {of} cannot be {value}: it is {range}")]
pub struct Impossible {
    /// Which figure.
    pub what: &'static str,
    /// Of what: a cause's word, or `all`.
    pub of: String,
    /// As it was given.
    pub value: String,
    /// What it may be.
    pub range: &'static str,
}

impl OwnCost {
    fn is_nothing(&self) -> bool {
        *self == OwnCost::default()
    }

    /// Only what differs from the stated row. A figure of another money is another figure, whatever its number.
    fn beyond(self, stated: &Cost) -> OwnCost {
        let other_money = self.currency.as_ref().is_some_and(|own| *own != stated.currency);
        let own_case = self.case.is_some_and(|own| other_money || own != stated.case);
        let money = |own: Option<f64>, stated: f64| own.filter(|own| other_money || *own != stated);
        OwnCost {
            case: money(self.case, stated.case),
            saved: self.saved.filter(|own| *own != stated.saved),
            look: money(self.look, stated.call),
            glance: money(self.glance, stated.glance),
            hours: self.hours.filter(|own| *own != stated.hours),
            currency: self.currency.filter(|own| *own != stated.currency),
            // The year of a case that is another stands beside it, also where it is the stated one's.
            year: self.year.filter(|own| own_case || *own != stated.year),
        }
    }

    fn over(&self, stated: &Cost) -> Cost {
        Cost {
            cause: stated.cause,
            case: self.case.unwrap_or(stated.case),
            saved: self.saved.unwrap_or(stated.saved),
            call: self.look.unwrap_or(stated.call),
            glance: self.glance.unwrap_or(stated.glance),
            hours: self.hours.unwrap_or(stated.hours),
            currency: self.currency.clone().unwrap_or_else(|| stated.currency.clone()),
            year: self.year.unwrap_or(stated.year),
            source: stated.source.clone(),
        }
    }
}

/// What each figure may be, in the words of an error.
const MONEY: &str = "0 to 1,000,000";

impl OwnCosts {
    /// Whether the farm says nothing of its own.
    pub fn is_nothing(&self) -> bool {
        *self == OwnCosts::default()
    }

    /// Only what differs from the stated costs: what is said as it is stated is not the farm's own word.
    pub fn beyond(self, stated: &Settings) -> OwnCosts {
        let costs = self.costs.into_iter().filter_map(|(cause, own)| {
            let own = own.beyond(stated.cost(cause)?);
            (!own.is_nothing()).then_some((cause, own))
        });
        OwnCosts {
            costs: costs.collect(),
            most_calls_a_day: self.most_calls_a_day.filter(|own| *own != stated.most_calls_a_day),
            errand: self.errand.filter(|own| *own != stated.errand),
            walk_hours: self.walk_hours.filter(|own| *own != stated.walk_hours),
        }
    }

    /// The stated settings with the farm's own figures over them.
    pub fn over(&self, stated: Settings) -> Settings {
        let costs = stated.costs.iter().map(|cost| match self.costs.get(&cost.cause) {
            Some(own) => own.over(cost),
            None => cost.clone(),
        });
        Settings {
            costs: costs.collect(),
            most_calls_a_day: self.most_calls_a_day.unwrap_or(stated.most_calls_a_day),
            errand: self.errand.unwrap_or(stated.errand),
            walk_hours: self.walk_hours.unwrap_or(stated.walk_hours),
            ..stated
        }
    }

    /// Whether every figure can be.
    ///
    /// # Errors
    /// The first that cannot.
    pub fn check(&self) -> Result<(), Impossible> {
        for (cause, own) in &self.costs {
            let of = cause.word();
            within("case", of, own.case, 0.0..=1e6, MONEY)?;
            within("saved", of, own.saved, 0.0..=1.0, "a share, 0 to 1")?;
            within("look", of, own.look, 0.0..=1e6, MONEY)?;
            within("glance", of, own.glance, 0.0..=1e6, MONEY)?;
            within("hours", of, own.hours, 1.0..=8760.0, "1 to 8,760 h")?;
            within("year", of, own.year.map(f64::from), 1990.0..=2199.0, "1990 to 2199")?;
            if let Some(currency) = &own.currency
                && !(currency.len() == 3 && currency.chars().all(|letter| letter.is_ascii_uppercase()))
            {
                return Err(Impossible {
                    what: "currency",
                    of: of.to_owned(),
                    value: currency.chars().take(20).collect(),
                    range: "three capital letters, as in USD",
                });
            }
        }
        within("most calls a day", "all", self.most_calls_a_day.map(f64::from), 0.0..=1000.0, "0 to 1,000")?;
        within("errand", "all", self.errand, 0.0..=1e6, MONEY)?;
        within("walk hours", "all", self.walk_hours, 0.5..=168.0, "0.5 to 168 h")
    }
}

fn within(
    what: &'static str,
    of: &str,
    value: Option<f64>,
    range: std::ops::RangeInclusive<f64>,
    words: &'static str,
) -> Result<(), Impossible> {
    match value {
        // What is no number lies in no range.
        Some(value) if !range.contains(&value) => {
            Err(Impossible { what, of: of.to_owned(), value: value.to_string(), range: words })
        }
        _ => Ok(()),
    }
}

/// The moneys the costs are told in: currencies, each with its years.
pub fn moneys(settings: &Settings) -> BTreeMap<&str, BTreeSet<u16>> {
    let mut moneys: BTreeMap<&str, BTreeSet<u16>> = BTreeMap::new();
    for cost in &settings.costs {
        moneys.entry(&cost.currency).or_default().insert(cost.year);
    }
    moneys
}

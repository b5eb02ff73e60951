//! What a farm tells of itself: name, zone, units, breed, boxes and pens.

use cowpath_core::{coming::Limits, minutes::terms::Terms, units::UnitSystem};
use serde::{Deserialize, Serialize};

use crate::{
    error::{Result, StoreError},
    farm::Farm,
};

/// Settings of a farm. Fields unknown to an older file take the values of [`Settings::fresh`].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Settings {
    /// Name of the farm, for headings.
    pub name: String,
    /// IANA zone of the farm's clock: `Europe/Amsterdam`.
    pub zone: String,
    /// Units of pages, text and CSV; JSON and the file are metric.
    pub units: UnitSystem,
    /// Breed of most cows.
    pub breed: Option<String>,
    /// Boxes that are named or placed by hand; a box of the logs need not stand here.
    pub boxes: Vec<BoxSetting>,
    /// Pens in walking order.
    pub pens: Vec<PenSetting>,
    /// The name other programs know the farm's documents by, a domain written backwards; `None`: not set.
    pub exchange_name: Option<String>,
    /// How long a cow may go unmilked before she is brought in.
    pub limits: Limits,
    /// On what terms box minutes are used: prices, idle reserve, limits of intervals.
    pub terms: Terms,
}

/// A box.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct BoxSetting {
    /// As the logs write it.
    pub name: String,
    /// Where one walks to find it, if that is not its own name.
    #[serde(default)]
    pub place: Option<String>,
}

/// A pen.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PenSetting {
    /// As the logs write it.
    pub name: String,
    /// Its place on the walk, smallest first.
    pub order: u32,
}

impl Settings {
    /// What holds until somebody sets it: no name, the clock of Greenwich, metric units.
    pub fn fresh() -> Settings {
        Settings {
            name: String::new(),
            zone: "UTC".into(),
            units: UnitSystem::Metric,
            breed: None,
            boxes: Vec::new(),
            pens: Vec::new(),
            exchange_name: None,
            limits: Limits::default(),
            terms: Terms::default(),
        }
    }
}

impl Default for Settings {
    fn default() -> Settings {
        Settings::fresh()
    }
}

/// Name under which the settings are kept.
const KEPT_AS: &str = "farm";

impl Farm {
    /// The settings, or [`Settings::fresh`] where none were saved yet ([`Farm::has_settings`]).
    pub fn settings(&self) -> Result<Settings> {
        let Some(kept) = self.recall(KEPT_AS)? else { return Ok(Settings::fresh()) };
        serde_json::from_str(&kept)
            .map_err(|error| StoreError::Stored { what: "the settings", detail: error.to_string() })
    }

    /// Whether settings were ever saved.
    pub fn has_settings(&self) -> Result<bool> {
        Ok(self.recall(KEPT_AS)?.is_some())
    }

    /// Saves the settings. Another zone moves every farm day, so states of the models are thrown away with it.
    pub fn save_settings(&mut self, settings: &Settings) -> Result<()> {
        let before = self.settings()?;
        let text = serde_json::to_string(settings)
            .map_err(|error| StoreError::Stored { what: "the settings", detail: error.to_string() })?;
        let transaction =
            self.connection.transaction_with_behavior(rusqlite::TransactionBehavior::Immediate)?;
        transaction.execute("REPLACE INTO setting (name, value) VALUES (?1, ?2)", [KEPT_AS, &text])?;
        if before.zone != settings.zone {
            transaction.execute("DELETE FROM checkpoint", [])?;
        }
        transaction.commit()?;
        Ok(())
    }
}

//! The settings of a farm, changed by command or page through the same checks.

use cowpath_core::units::UnitSystem;
use cowpath_store::{PenSetting, Settings};

use super::farm::{self, Barn};
use crate::trouble::user;

/// Letters a name may have; a heading must hold it.
const LONGEST: usize = 120;
/// Pens a walk may have.
const MOST_PENS: usize = 500;

/// What is to be changed; `None` stays as it is.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Wanted {
    /// Name of the farm.
    pub name: Option<String>,
    /// Its zone, by its name in the zone database.
    pub zone: Option<String>,
    /// Units of pages, text and CSV.
    pub units: Option<UnitSystem>,
    /// Breed of the herd; empty: not set.
    pub breed: Option<String>,
    /// Pens in the order of the walk.
    pub pens: Option<Vec<String>>,
}

impl Wanted {
    /// Whether anything is to be changed.
    pub fn any(&self) -> bool {
        *self != Wanted::default()
    }

    /// Whether it can be, before anything is touched.
    ///
    /// # Errors
    /// Where a word cannot be what it is given as.
    pub fn check(&self) -> anyhow::Result<()> {
        if let Some(zone) = &self.zone {
            farm::zone(zone.trim())?;
        }
        let words = [("name", &self.name), ("breed", &self.breed)];
        for (what, word) in words.into_iter().filter_map(|(what, word)| Some((what, word.as_ref()?))) {
            if LONGEST < word.trim().chars().count() || word.trim().contains(char::is_control) {
                return Err(user(
                    format!(
                        "this cannot be the {what}: it has more than {LONGEST} letters or more than one line"
                    ),
                    "nothing was changed",
                    format!("write a {what} of one line"),
                ));
            }
        }
        if self.pens.as_ref().is_some_and(|pens| MOST_PENS < pens.len()) {
            return Err(user(
                format!("there are more than {MOST_PENS} pens"),
                "nothing was changed",
                "name the pens you walk, separated by commas",
            ));
        }
        Ok(())
    }
}

/// Changes what is wanted, and gives the settings as they are then.
///
/// # Errors
/// As [`Wanted::check`]; nothing is changed then.
pub fn change(barn: &mut Barn, wanted: &Wanted) -> anyhow::Result<Settings> {
    wanted.check()?;
    let mut settings = barn.store.settings()?;
    if !wanted.any() {
        return Ok(settings);
    }
    let trimmed = |word: &String| word.trim().to_owned();
    settings.name = wanted.name.as_ref().map_or(settings.name, trimmed);
    settings.zone = wanted.zone.as_ref().map_or(settings.zone, trimmed);
    settings.units = wanted.units.unwrap_or(settings.units);
    if let Some(breed) = &wanted.breed {
        settings.breed = Some(trimmed(breed)).filter(|breed| !breed.is_empty());
    }
    if let Some(pens) = &wanted.pens {
        let named = pens.iter().map(|pen| pen.trim()).filter(|pen| !pen.is_empty());
        settings.pens =
            (1..).zip(named).map(|(order, name)| PenSetting { name: name.to_owned(), order }).collect();
    }
    barn.store.save_settings(&settings)?;
    Ok(settings)
}

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
    /// The name other programs know the farm's documents by; empty: not set.
    pub exchange_name: Option<String>,
    /// Limits of Bring in that are to be others, in words.
    pub limits: Option<String>,
    /// Terms of box minutes that are to be others, in words.
    pub terms: Option<String>,
}

/// Whether a word can be the name of a source of documents.
///
/// # Errors
/// Where it holds anything but printed ASCII letters.
pub fn check_exchange_name(name: &str) -> anyhow::Result<()> {
    if !name.is_empty() && name.len() <= LONGEST && name.chars().all(|letter| letter.is_ascii_graphic()) {
        return Ok(());
    }
    Err(user(
        format!("`{name}` cannot be the name of a source"),
        "nothing was written",
        "write a domain backwards, like com.example.farm, without blanks",
    ))
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
        if let Some(name) = self.exchange_name.as_deref().map(str::trim).filter(|name| !name.is_empty()) {
            check_exchange_name(name)?;
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
    if let Some(name) = &wanted.exchange_name {
        settings.exchange_name = Some(trimmed(name)).filter(|name| !name.is_empty());
    }
    if let Some(words) = &wanted.limits {
        settings.limits = settings.limits.with(words).map_err(|why| {
            user(why, "nothing was changed", "write limits like \"first=9/12/14 later=10/12/14 kg=16/20\"")
        })?;
    }
    if let Some(words) = &wanted.terms {
        settings.terms = settings.terms.with(words).map_err(|why| {
            user(why, "nothing was changed", "write terms like \"milk=0.45 feed=0.12 idle=10 later=4/6/8\"")
        })?;
    }
    barn.store.save_settings(&settings)?;
    Ok(settings)
}

//! A farm's folder: where it lies, its store, and its settings as the answers need them.

use std::path::{Path, PathBuf};

use cowpath_core::units::UnitSystem;
use cowpath_store::{Farm, Settings};
use jiff::{Timestamp, tz::TimeZone};

use crate::trouble::user;

/// One farm, opened.
pub struct Barn {
    /// Its folder.
    pub dir: PathBuf,
    /// Its file.
    pub store: Farm,
}

/// What the answers need to know of a farm's settings.
#[derive(Debug, Clone)]
pub struct Ways {
    /// Name of the farm.
    pub name: String,
    /// Its time zone.
    pub zone: TimeZone,
    /// The units it reads in.
    pub units: UnitSystem,
    /// Pens in walking order, as the logs write them; empty while nobody has said.
    pub pens: Vec<String>,
}

impl Barn {
    /// Opens a farm that exists.
    pub fn open(dir: &Path) -> anyhow::Result<Barn> {
        if !Farm::exists(dir) {
            return Err(user(
                format!("there is no farm in {} yet", dir.display()),
                "nothing was changed",
                "read logs first: `cowpath import FILE...`, or look at a simulated herd: `cowpath demo`",
            ));
        }
        Ok(Barn { dir: dir.to_owned(), store: Farm::open(dir)? })
    }

    /// Opens a farm, and founds it where there is none; `zone` is its zone then.
    pub fn found(dir: &Path, now: Timestamp, zone: &str) -> anyhow::Result<Barn> {
        let new = !Farm::exists(dir);
        let mut store = Farm::create_or_open(dir, now)?;
        if new {
            let settings = Settings { zone: zone.to_owned(), ..store.settings()? };
            store.save_settings(&settings)?;
        }
        Ok(Barn { dir: dir.to_owned(), store })
    }

    /// Another connection that only reads, for a thread of its own.
    pub fn reader(&self) -> anyhow::Result<Barn> {
        Ok(Barn { dir: self.dir.clone(), store: self.store.reader()? })
    }

    /// The settings the answers need.
    pub fn ways(&self) -> anyhow::Result<Ways> {
        let mut settings = self.store.settings()?;
        settings.pens.sort_by_key(|pen| pen.order);
        let pens = settings.pens.into_iter().map(|pen| pen.name).collect();
        Ok(Ways { zone: zone(&settings.zone)?, name: settings.name, units: settings.units, pens })
    }
}

/// The zone of an IANA name.
pub fn zone(name: &str) -> anyhow::Result<TimeZone> {
    TimeZone::get(name).map_err(|_| {
        user(
            format!("`{name}` is not the name of a time zone"),
            "nothing was changed",
            "use a name of the zone database, like America/Chicago, Europe/Copenhagen or UTC",
        )
    })
}

/// A time as a person types it: RFC 3339, or the farm's wall time `2026-03-02T05:30` or `2026-03-02 05:30`, or a day.
pub fn time(words: &str, zone: &TimeZone) -> anyhow::Result<Timestamp> {
    let words = words.trim();
    if let Ok(instant) = words.parse::<Timestamp>() {
        return Ok(instant);
    }
    let wall = words
        .parse::<jiff::civil::DateTime>()
        .or_else(|_| words.parse::<jiff::civil::Date>().map(|day| day.at(0, 0, 0, 0)))
        .ok()
        .and_then(|wall| wall.to_zoned_datetime(zone.clone()).ok());
    wall.map(|wall| wall.timestamp()).ok_or_else(|| {
        user(
            format!("`{words}` is not a time"),
            "nothing was changed",
            "write it like 2026-03-02T05:30 (farm time), 2026-03-02T05:30:00-05:00, or 2026-03-02",
        )
    })
}

/// The platform's own folder for a program's data.
pub fn usual_folder() -> anyhow::Result<PathBuf> {
    let from =
        |variable: &str| std::env::var_os(variable).filter(|value| !value.is_empty()).map(PathBuf::from);
    let base = if cfg!(windows) {
        from("APPDATA")
    } else if cfg!(target_os = "macos") {
        from("HOME").map(|home| home.join("Library").join("Application Support"))
    } else {
        from("XDG_DATA_HOME").or_else(|| from("HOME").map(|home| home.join(".local").join("share")))
    };
    base.map(|base| base.join("cowpath")).ok_or_else(|| {
        user(
            "this machine does not say where programs keep their data",
            "nothing was changed",
            "name the farm's folder: `cowpath --farm DIR …`",
        )
    })
}

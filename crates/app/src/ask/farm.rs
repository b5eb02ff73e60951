//! A farm's folder: where it lies, its store, and its settings as the answers need them.

use std::path::{Path, PathBuf};

use cowpath_core::{say::when, units::UnitSystem};
use cowpath_store::{Farm, Settings};
use jiff::{
    Timestamp,
    civil::{Date, DateTime},
    tz::{AmbiguousOffset, Offset, TimeZone},
};

use crate::trouble::{short, user};

/// Years that a farm's logs can be of; far beyond them the calendar itself ends.
const YEARS: std::ops::Range<i16> = 1900..2200;

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
        if dir.is_file() {
            return Err(user(
                format!("{} is a file, not the folder of a farm", dir.display()),
                "nothing was changed",
                "name the folder with --farm; a backup becomes a farm by `cowpath --farm DIR restore FILE`",
            ));
        }
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

    /// Whether any row names this animal.
    pub fn knows(&self, animal: &str) -> anyhow::Result<bool> {
        Ok(self.store.numbers()?.iter().any(|number| number == animal))
    }

    /// The settings the answers need.
    pub fn ways(&self) -> anyhow::Result<Ways> {
        let mut settings = self.store.settings()?;
        settings.pens.sort_by_key(|pen| pen.order);
        let pens = settings.pens.into_iter().map(|pen| pen.name).collect();
        Ok(Ways { zone: zone(&settings.zone)?, name: settings.name, units: settings.units, pens })
    }
}

/// A herd number that nobody bears or bore.
pub fn unknown(animal: &str) -> anyhow::Error {
    user(
        format!("no cow `{}` is on record", short(animal)),
        "nothing was changed",
        "write her number as the logs do; the Herd page of `cowpath serve` lists every cow",
    )
}

/// The zone of an IANA name.
pub fn zone(name: &str) -> anyhow::Result<TimeZone> {
    TimeZone::get(name).map_err(|_| {
        user(
            format!("`{}` is not the name of a time zone", short(name)),
            "nothing was changed",
            "use a name of the zone database, like America/Chicago, Europe/Copenhagen or UTC",
        )
    })
}

/// A time as a person types it: RFC 3339, or the farm's wall time `2026-03-02T05:30` or `2026-03-02 05:30`, or a day. A
/// wall time that the change of clocks left out or brought twice is not guessed at.
pub fn time(words: &str, zone: &TimeZone) -> anyhow::Result<Timestamp> {
    let words = words.trim();
    let refused = |what: String, next: &str| user(what, "nothing was changed", next);
    let no_time = || {
        let next = "write it like 2026-03-02T05:30 (farm time), 2026-03-02T05:30:00-05:00, or 2026-03-02";
        refused(format!("`{}` is not a time", short(words)), next)
    };
    let instant = if let Ok(instant) = words.parse::<Timestamp>() {
        instant
    } else if let Ok(day) = words.parse::<Date>()
        && !words.contains(':')
    {
        // Where the clock skips midnight, a day begins after it.
        cowpath_core::time::day_starts(day, zone).map_err(|_| no_time())?
    } else {
        let wall = words.parse::<DateTime>().map_err(|_| no_time())?;
        let either = zone.to_ambiguous_timestamp(wall);
        match either.offset() {
            AmbiguousOffset::Unambiguous { .. } => either.compatible().map_err(|_| no_time())?,
            AmbiguousOffset::Gap { .. } => {
                let what = format!("`{words}` never was on the farm's clock, which was put forward over it");
                return Err(refused(what, "name a time before or after it, or write its offset"));
            }
            AmbiguousOffset::Fold { before, after } => {
                let what = format!("`{words}` came twice on the farm's clock, which was set back");
                let on = |offset: Offset| offset.to_timestamp(wall).map(|at| when::rfc3339(at, zone));
                let (first, second) =
                    on(before).and_then(|first| Ok((first, on(after)?))).map_err(|_| no_time())?;
                let next = format!("write which one: {first} or {second}");
                return Err(refused(what, &next));
            }
        }
    };
    if YEARS.contains(&zone.to_datetime(instant).year()) {
        return Ok(instant);
    }
    let what =
        format!("`{}` is of no year that logs are of, {} to {}", short(words), YEARS.start, YEARS.end - 1);
    Err(refused(what, "look whether the year is right"))
}

/// The span from one time to another; it must not end before it begins.
pub fn in_order<T: PartialOrd>(from: Option<T>, to: Option<T>) -> anyhow::Result<(Option<T>, Option<T>)> {
    if from.as_ref().zip(to.as_ref()).is_some_and(|(from, to)| to < from) {
        let next = "give the earlier one as --from and the later one as --to";
        return Err(user("the span ends before it begins", "nothing was changed", next));
    }
    Ok((from, to))
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

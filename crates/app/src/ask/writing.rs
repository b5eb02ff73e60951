//! What pages and the inbox change in a farm: files read, rows mended, settings. One after the other, on a connection of
//! its own, so that two uploads at once both end well and pages go on answering.

use std::{
    path::PathBuf,
    sync::{Arc, TryLockError},
    thread,
    time::Duration,
};

use cowpath_import::Reading;
use cowpath_store::Settings;
use jiff::Timestamp;

use super::{
    coming::{Coming, print_of},
    farm::Barn,
    inbox::Watched,
    live::{Live, locked},
    map_page::{self, Choices, MapPage},
    mending::{self, Again, Mended, Opened},
    parked::{self, Parked},
    records::{self, Quarantine, Records},
    take_in,
    taken::Taken,
    ways::{self, Wanted},
};
use crate::{clock, trouble::user};

/// How long a small change waits for its turn before it says that a file is being read.
const TURN: Duration = Duration::from_secs(4);
const BETWEEN_TRIES: Duration = Duration::from_millis(20);

impl Live {
    /// What counts as now.
    pub(super) fn now(&self) -> Timestamp {
        self.fixed_now.unwrap_or_else(clock::now)
    }

    /// Writes when it is its turn; `patient`: however long that takes.
    pub(super) fn write<T>(
        &self,
        patient: bool,
        write: impl FnOnce(&mut Barn) -> anyhow::Result<T>,
    ) -> anyhow::Result<T> {
        let mut writer = if patient {
            locked(&self.writer)
        } else {
            let waited = clock::Stopwatch::start();
            loop {
                match self.writer.try_lock() {
                    Ok(writer) => break writer,
                    Err(TryLockError::Poisoned(poisoned)) => break poisoned.into_inner(),
                    Err(TryLockError::WouldBlock) if waited.elapsed() < TURN => thread::sleep(BETWEEN_TRIES),
                    Err(TryLockError::WouldBlock) => {
                        return Err(user(
                            "a file is being read just now",
                            "nothing of this was changed; what you wrote is still in the form",
                            "try again in a moment",
                        ));
                    }
                }
            }
        };
        let barn = match writer.as_mut() {
            Some(barn) => barn,
            None => writer.insert(Barn::open(&self.dir())?),
        };
        let written = write(barn);
        drop(writer);
        self.nudge();
        written
    }

    /// Folder of the farm.
    pub fn dir(&self) -> PathBuf {
        locked(&self.keeper).dir.clone()
    }

    /// Reads files that came by a page.
    pub fn take_in(&self, files: &[Coming]) -> anyhow::Result<Taken> {
        let now = self.now();
        self.write(true, |barn| {
            let zone = barn.ways()?.zone;
            take_in::take_in_all(barn, files, &zone, now, &mut |_, _| {})
        })
    }

    /// Deals with a file of the inbox; `false`: it may still be on its way, and nothing of it was kept.
    pub fn take_from_inbox(&self, coming: &Coming) -> anyhow::Result<bool> {
        if let Ok(content) = cowpath_import::content_hash(&coming.path)
            && coming.is_steady()
            && self.ask(|barn| Ok(barn.store.has_come(&content)?))?
        {
            return Ok(true);
        }
        let now = self.now();
        self.write(true, |barn| {
            let zone = barn.ways()?.zone;
            take_in::take_in_one(barn, coming, &zone, now, &mut |_, _| {}, &mut Taken::default())
        })
    }

    /// The page that says how a file is to be read, with what was chosen.
    pub fn map_page(&self, key: &str, typed: Option<&Choices>) -> anyhow::Result<MapPage> {
        let (now, dir) = (self.now(), self.dir());
        map_page::page(&dir, key, typed, &self.ways()?.zone, now)
    }

    /// Keeps the map, and reads the file and every other that waits and has the same header.
    pub fn keep_map(&self, key: &str, typed: &Choices) -> anyhow::Result<Result<Taken, Box<MapPage>>> {
        let (now, dir) = (self.now(), self.dir());
        let zone = self.ways()?.zone;
        let map = match map_page::keep(&dir, key, typed, &zone, now)? {
            Ok(map) => Arc::new(map),
            Err(page) => return Ok(Err(page)),
        };
        let reading = Reading::new(zone, now);
        let fits =
            |one: &Parked| one.key == key || cowpath_import::fits(&one.path, &map, &reading).unwrap_or(false);
        let mut waiting: Vec<Parked> = parked::list(&dir).into_iter().filter(fits).collect();
        waiting.sort_by_key(|one| one.key != key);
        let files: Vec<Coming> = waiting
            .iter()
            .map(|one| Coming {
                path: one.path.clone(),
                name: one.name.clone(),
                way: one.way,
                steady: print_of(&one.path),
                may_grow: false,
                map: Some(Arc::clone(&map)),
            })
            .collect();
        let taken = self.take_in(&files)?;
        for (one, file) in waiting.iter().zip(&taken.files) {
            if file.trouble.is_none() {
                parked::remove(&dir, &one.key);
            }
        }
        Ok(Ok(taken))
    }

    /// Says how the inbox stands.
    pub fn say_inbox(&self, said: Watched) {
        *locked(&self.inbox) = Some(said);
    }

    /// The Records page; `skip` files are left out.
    pub fn records(&self, skip: u64) -> anyhow::Result<Records> {
        let now = self.now();
        let (silent, fit, contradictions) = self.standing()?;
        let inbox = locked(&self.inbox).clone();
        let waiting: Vec<records::Waits> = parked::list(&self.dir())
            .into_iter()
            .map(|one| records::Waits { key: one.key, file: one.name })
            .collect();
        self.ask(|barn| {
            barn.store.hold().map_err(anyhow::Error::from).and_then(|_held| {
                let settings = barn.store.settings()?;
                let zone = super::farm::zone(&settings.zone)?;
                let (in_quarantine, set_aside) = barn.store.quarantine_counts()?;
                Ok(Records {
                    farm: settings.name.clone(),
                    inbox: inbox.clone(),
                    files: records::files(barn, skip, &zone, now)?,
                    waiting: waiting.clone(),
                    files_in_all: barn.store.arrival_count()?,
                    skipped: skip,
                    in_quarantine,
                    set_aside,
                    silent: silent.clone(),
                    contradictions: contradictions.clone(),
                    fit: fit.clone(),
                    settings: records::Ways::of(settings),
                })
            })
        })
    }

    /// A page of the quarantine.
    pub fn quarantine(&self, skip: u64) -> anyhow::Result<Quarantine> {
        self.ask(|barn| records::quarantine(barn, skip, records::A_PAGE))
    }

    /// One row of it, to be mended.
    pub fn open_entry(&self, entry: i64) -> anyhow::Result<Opened> {
        self.ask(|barn| mending::open(barn, entry))
    }

    /// Mends it: its cells in the order of [`Opened::cells`].
    pub fn mend(&self, entry: i64, cells: &[String]) -> anyhow::Result<Mended> {
        let now = self.now();
        self.write(false, |barn| {
            mending::mend(
                barn,
                entry,
                &|own| {
                    for ((_, cell), new) in own.iter_mut().zip(cells) {
                        cell.clone_from(new);
                    }
                    Ok(())
                },
                now,
            )
        })
    }

    /// Takes in again what is understood by now.
    pub fn take_again(&self) -> anyhow::Result<Again> {
        let now = self.now();
        self.write(false, |barn| mending::again(barn, now))
    }

    /// Changes the settings.
    pub fn change_settings(&self, wanted: &Wanted) -> anyhow::Result<Settings> {
        wanted.check()?;
        self.write(false, |barn| ways::change(barn, wanted))
    }
}

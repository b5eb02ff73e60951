//! What the fixed farm answers for Records: it remembers what it was asked to change, and keeps nothing.

use std::path::PathBuf;

use cowpath_store::Entry;
use jiff::tz::TimeZone;

use super::FixedFarm;
use crate::{
    ask::{
        coming::Coming,
        fitted::{Fit, Known},
        inbox::Watched,
        map_page::{self, Choices, MapPage},
        mending::{Again, Mended, Opened},
        records::{Came, Kept, Often, Quarantine, Records, Waits, Ways},
        silence::Silent,
        taken::{Taken, TakenFile, TakenIssue},
        ways::Wanted,
    },
    web::Keeps,
};

/// Rows in the fixed farm's quarantine: more than any page may hold.
pub const ROWS: u64 = 10_000;

/// One row of it.
fn row(number: u64) -> Kept {
    Kept {
        entry: Some(number as i64),
        file: "visits <&> of May.csv".into(),
        table: "visits".into(),
        line: number + 1,
        column: "milk_kg".into(),
        value: "-3".into(),
        reason: "outside 0 to 60 kg".into(),
        next: "mend it in the file and read it again".into(),
        row: "214,2,2026-03-02T05:02:10-06:00,2026-03-02T05:09:00-06:00,milked,-3".into(),
    }
}

/// A file that came.
pub fn came(name: &str, trouble: Option<&str>) -> Came {
    Came {
        batch: trouble.is_none().then_some(4),
        at: "2026-03-02T05:31:00-06:00".into(),
        at_words: "today 05:31".into(),
        way: "inbox",
        file: TakenFile {
            file: name.into(),
            table: trouble.is_none().then(|| "visits".into()),
            read: 9,
            new: 7,
            same: 1,
            quarantined: 1,
            trouble: trouble.map(str::to_owned),
            next: trouble.map(|_| "propose a column map for it: `cowpath map FILE`".into()),
            ..TakenFile::default()
        },
        said: vec![
            "column not used: `colour` is no column of visits; nothing, if you can do without it".into(),
        ],
    }
}

impl Keeps for FixedFarm {
    fn records(&self, skip: u64) -> anyhow::Result<Records> {
        if let Some(broken) = self.broken {
            anyhow::bail!(broken);
        }
        let nothing = self.herd.is_empty();
        let files = vec![
            came("visits-2026-03-02.csv", None),
            came("odd.csv", Some("the first line names no column of any table")),
        ];
        Ok(Records {
            farm: self.round.farm.clone(),
            settings: Ways {
                name: self.round.farm.clone(),
                zone: "America/Chicago".into(),
                units: "metric",
                breed: "Jersey".into(),
                pens: vec!["1".into(), "straw & chaff".into()],
            },
            inbox: (!nothing).then(|| Watched {
                folder: "/srv/logs".into(),
                waiting: vec!["growing.csv".into()],
                trouble: String::new(),
            }),
            files: if nothing { Vec::new() } else { files },
            waiting: if nothing {
                Vec::new()
            } else {
                vec![Waits { key: "0".repeat(32), file: "export <1>.csv".into() }]
            },
            files_in_all: if nothing { 0 } else { 240 },
            skipped: skip,
            in_quarantine: if nothing { 0 } else { ROWS },
            set_aside: 0,
            silent: if nothing {
                Vec::new()
            } else {
                vec![Silent {
                    signal: "conductivity".into(),
                    box_name: Some("2".into()),
                    animals: Vec::new(),
                    since: "2026-02-27T14:10:00-06:00".into(),
                    sentence: "Conductivity of box 2: none since Friday 14:10; before, one at every milking."
                        .into(),
                }]
            },
            fit: (!nothing).then(|| Fit {
                rows_until: "2026-03-01T18:00:00-06:00".into(),
                rows_until_words: "yesterday 18:00".into(),
                known: vec![Known {
                    what: "One milking strays from what was expected by, usually",
                    value: 9.1,
                    low95: Some(8.8),
                    high95: Some(9.5),
                    unit: "%",
                    words: "9.1 % (8.8 to 9.5 %)".into(),
                }],
                note: None,
            }),
        })
    }

    fn quarantine(&self, skip: u64) -> anyhow::Result<Quarantine> {
        let in_quarantine = if self.herd.is_empty() { 0 } else { ROWS };
        Ok(Quarantine {
            farm: self.round.farm.clone(),
            in_quarantine,
            set_aside: 0,
            skipped: skip,
            often: vec![Often {
                table: "visits".into(),
                column: "milk_kg".into(),
                reason: "outside 0 to 60 kg".into(),
                rows: ROWS,
            }],
            rows: (skip..in_quarantine.min(skip.saturating_add(50))).map(|number| row(number + 1)).collect(),
        })
    }

    fn open_entry(&self, entry: i64) -> anyhow::Result<Opened> {
        if !(1..=ROWS as i64).contains(&entry) {
            return Err(crate::trouble::user(
                "no row in quarantine has that number",
                "nothing was changed",
                "look",
            ));
        }
        let Kept { file, table, line, column, value, reason, next, row, .. } = row(entry as u64);
        let header = ["animal", "box", "started_at", "ended_at", "outcome", "milk_kg"];
        Ok(Opened {
            cells: header
                .iter()
                .zip(row.split(','))
                .map(|(own, cell)| ((*own).into(), cell.into()))
                .collect(),
            entry: Entry {
                entry,
                file,
                table,
                line,
                column,
                value,
                reason,
                remedy: next,
                raw: row,
                header: header.join(","),
                zone: "America/Chicago".into(),
                map: String::new(),
                mended: entry == 77,
            },
            closed: None,
            separator: b',',
        })
    }

    fn mend(&self, entry: i64, cells: &[String]) -> anyhow::Result<Mended> {
        if entry == 77 {
            return Ok(Mended::Before);
        }
        if cells[5].parse::<f64>().is_ok_and(|milk| (0.0..=60.0).contains(&milk)) {
            return Ok(Mended::Taken("new", None));
        }
        Ok(Mended::Still(Some("milk_kg".into()), "is no <figure>".into(), "write a figure".into()))
    }

    fn take_again(&self) -> anyhow::Result<Again> {
        Ok(Again { looked_at: ROWS, taken: 3, left: ROWS - 3, files: Vec::new() })
    }

    fn change_settings(&self, wanted: &Wanted) -> anyhow::Result<()> {
        wanted.check()
    }

    fn take_in(&self, files: &[Coming]) -> anyhow::Result<Taken> {
        let mut taken = Taken::default();
        for coming in files {
            let text = std::fs::read_to_string(&coming.path)?;
            let odd = text.is_empty().then(|| "the file is empty".to_owned());
            taken.files.push(TakenFile {
                file: coming.name.clone(),
                read: text.lines().count() as u64,
                next: odd.clone(),
                trouble: odd,
                ..TakenFile::default()
            });
            taken.issues.push(TakenIssue {
                file: coming.name.clone(),
                line: Some(2),
                column: Some("milk_kg".into()),
                value: Some("<b>".into()),
                reason: "is no figure".into(),
                next: "mend it".into(),
            });
        }
        Ok(taken)
    }

    fn map_page(&self, key: &str, typed: Option<&Choices>) -> anyhow::Result<MapPage> {
        map_page::page(&self.folder, key, typed, &TimeZone::UTC, "2026-03-03T12:00:00Z".parse()?)
    }

    fn keep_map(&self, key: &str, typed: &Choices) -> anyhow::Result<Result<Taken, Box<MapPage>>> {
        let kept = map_page::keep(&self.folder, key, typed, &TimeZone::UTC, "2026-03-03T12:00:00Z".parse()?)?;
        Ok(kept.map(|_| Taken::default()))
    }

    fn folder(&self) -> PathBuf {
        self.folder.clone()
    }
}

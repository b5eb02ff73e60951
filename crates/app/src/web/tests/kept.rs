//! What the fixed farm answers for Records: it remembers what it was asked to change, and keeps nothing.

use std::path::PathBuf;

use cowpath_core::causes::costs::OwnCosts;
use cowpath_store::Entry;
use jiff::tz::TimeZone;

use super::FixedFarm;
use crate::{
    ask::{
        coming::Coming,
        costs::{self, Change, ChangedCall, Costs},
        fitted::{Fit, Known},
        inbox::Watched,
        learning::{LearnedRow, LearnedStep, Learning, TakenBack},
        map_page::{self, Choices, MapPage},
        mending::{Again, Mended, Opened},
        missed::{Lesson, MissedCase, Taught},
        record::{Record, RecordRow},
        records::{Came, Kept, Often, Quarantine, Records, Waits, Ways},
        silence::Silent,
        taken::{Taken, TakenFile, TakenIssue},
        ways::Wanted,
    },
    web::{Keeps, Teaches},
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
            contradictions: if nothing {
                Vec::new()
            } else {
                vec!["150 is recorded as dried off 20 February, and is milked since as before, last milking 02:10: one of them is wrong, and she is judged as a cow in milk.".into()]
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

/// The fixed farm's record: udder calls, two cases that were never called, and what was learned.
pub fn record() -> Record {
    let words = "The cause “udder” is taken to begin 1.4 times as often here as stated (90 % interval 1.0 to 1.9): 9 of 11 \
                 answered calls were right, where 6.2 were to be expected; 2 cases were never called.";
    Record {
        causes: vec![RecordRow {
            cause: "udder".into(),
            shown: 14,
            answered: 11,
            right: 9,
            other_quarter: 1,
            other_cause: 1,
            nothing: 1,
            share: Some(9.0 / 11.0),
            low: 0.4822,
            high: 0.9772,
            words: "Of 11 answered calls 9 were right: 82 %, 95 % interval 48 to 98 %.".into(),
            missed: 2,
            caught: Some(9.0 / 11.0),
            caught_low: 0.4822,
            caught_high: 0.9772,
            missed_words: "2 cases are known that no call named, beside 9 that a call did.".into(),
        }],
        answers: Vec::new(),
        missed: vec![MissedCase {
            id: Some(3),
            animal: "214 <b>".into(),
            cause: "udder",
            quarter: Some("LR"),
            at: "2026-03-02T04:00:00-06:00".into(),
            words: "214 <b>: udder, left rear, yesterday 04:00; no call named it. It was told by Ann.".into(),
        }],
        learned: Learning {
            causes: vec![LearnedRow {
                cause: "udder",
                factor: 1.4,
                low: 1.0,
                high: 1.9,
                words: words.into(),
            }],
            steps: vec![LearnedStep {
                cause: "udder",
                since: "2026-03-01T06:00:00-06:00".into(),
                before: 1.3,
                factor: 1.4,
                words: "Since Sunday the cause “udder” is taken to begin 1.4 times as often here.".into(),
            }],
            taken_back: vec![TakenBack {
                id: 2,
                cause: "heat".into(),
                at: "2026-03-01T06:00:00-06:00".into(),
                words: "What was learned of “in heat” up to Sunday 06:00 was taken back by Ann.".into(),
                undone: false,
            }],
        },
    }
}

impl Teaches for FixedFarm {
    fn costs(&self) -> anyhow::Result<Costs> {
        if let Some(broken) = self.broken {
            anyhow::bail!(broken);
        }
        Ok(Costs {
            version: Some(2),
            version_words: "The farm's own, version 2, since yesterday".into(),
            ..costs::told(
                self.round.farm.clone(),
                serde_json::from_str(r#"{"costs":{"udder":{"case":520.0,"year":2026}}}"#)?,
            )
        })
    }

    fn try_costs(&self, own: &OwnCosts) -> anyhow::Result<(Costs, Change)> {
        let own = costs::checked(own.clone(), 2026)?;
        let call = |id: &str, before, after| ChangedCall {
            id: id.into(),
            sentence: format!("{id}: could be <i>inflamed</i>, 11 % sure."),
            before,
            after,
        };
        let change = Change {
            at: "2026-03-03T05:30:00-06:00".into(),
            summary: "3 calls of now would become 3: 1 comes, 1 goes, 1 changes its urgency.".into(),
            comes: vec![call("300", "", "watch")],
            goes: vec![call("301", "watch", "")],
            moves: vec![call("302", "today", "now")],
            stays: vec![call("303", "today", "today")],
        };
        Ok((costs::told(self.round.farm.clone(), own), change))
    }

    fn keep_costs(&self, own: &OwnCosts) -> anyhow::Result<Costs> {
        Ok(costs::told(self.round.farm.clone(), costs::checked(own.clone(), 2026)?))
    }

    fn teach(&self, lesson: &Lesson) -> anyhow::Result<Taught> {
        if lesson.act != "take-back" {
            return Err(crate::trouble::user("nothing to teach", "nothing was changed", "try another word"));
        }
        Ok(Taught { id: Some(4), words: "What was learned so far is taken back.".into() })
    }
}

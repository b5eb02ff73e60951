//! A farm with fixed answers: six calls in four places, a cow of ten days, and what an empty farm says.

use std::sync::Arc;

use jiff::{Timestamp, tz::TimeZone};

use super::{
    box_days,
    her::cow,
    strips::{lanes, wall, zone},
};

use crate::{
    ask::{
        boxes::{AskedBoxes, Boxes},
        cow::Cow,
        found::Given,
        record::Record,
        round::{Answer, NotJudged, Other, Place, Quiet, Round, RoundCall, RoundReason},
    },
    web::{Answers, AskedCow, HerdRow},
};

/// Fixed answers.
pub struct FixedFarm {
    pub round: Arc<Round>,
    pub cow: Cow,
    pub herd: Vec<HerdRow>,
    /// What every answer fails with, where it fails.
    pub broken: Option<&'static str>,
    /// Where uploads land.
    pub folder: std::path::PathBuf,
}

impl FixedFarm {
    pub fn of(round: Round) -> FixedFarm {
        FixedFarm {
            round: Arc::new(round),
            cow: cow("214", 10),
            herd: herd(),
            broken: None,
            folder: std::env::temp_dir(),
        }
    }
}

impl Answers for FixedFarm {
    fn round(&self, at: Option<Timestamp>) -> anyhow::Result<Arc<Round>> {
        assert_ne!(self.broken, Some("panic"), "stopped on purpose");
        if let Some(broken) = self.broken {
            anyhow::bail!(broken);
        }
        let mut round = self.round.as_ref().clone();
        if let Some(at) = at {
            round.at = at.to_string();
        }
        Ok(Arc::new(round))
    }

    fn cow(&self, asked: &AskedCow) -> anyhow::Result<Option<Cow>> {
        if let Some(broken) = self.broken {
            anyhow::bail!(broken);
        }
        let known = asked.animal == self.cow.animal || self.herd.iter().any(|row| row.animal == asked.animal);
        Ok(known.then(|| {
            let days = match (asked.from, asked.to) {
                (Some(from), Some(to)) => from.until(to).map_or(10, |span| span.get_days() + 1),
                _ => 10,
            };
            if asked.animal == self.cow.animal && days == 10 {
                self.cow.clone()
            } else {
                cow(&asked.animal, days)
            }
        }))
    }

    fn give(&self, given: &Given) -> anyhow::Result<Answer> {
        anyhow::ensure!(given.call == "214-udder-1", "no round ever showed a call `{}`", given.call);
        Ok(Answer {
            id: 7,
            call: given.call.clone(),
            outcome: "confirmed",
            cause: given.cause.clone(),
            quarter: given.quarter.clone(),
            sign: given.sign.clone(),
            note: given.note.clone(),
            by: given.by.clone(),
            at: "2026-03-03T05:50:00-06:00".into(),
            words: "Found 05:50: it was so, left rear, clots.".into(),
            taken_back: false,
        })
    }

    fn take_back(&self, id: i64, _by: Option<&str>) -> anyhow::Result<()> {
        anyhow::ensure!(id == 7, "there is no answer {id} that still stands");
        Ok(())
    }

    fn record(&self) -> anyhow::Result<Record> {
        Ok(super::kept::record())
    }

    fn herd_list(&self) -> anyhow::Result<Vec<HerdRow>> {
        Ok(self.herd.clone())
    }

    fn boxes(&self, asked: &AskedBoxes) -> anyhow::Result<Boxes> {
        if let Some(broken) = self.broken {
            anyhow::bail!(broken);
        }
        let (_folder, farm) = box_days::read(&box_days::three_makes());
        farm.boxes(asked)
    }

    fn round_rests_on(&self) -> anyhow::Result<u64> {
        Ok(0)
    }

    fn farm_name(&self) -> String {
        self.round.farm.clone()
    }

    fn zone(&self) -> TimeZone {
        zone()
    }

    fn time(&self, word: &str) -> anyhow::Result<Timestamp> {
        crate::ask::farm::time(word, &zone())
    }
}

/// One reason.
fn reason(name: &str, value: &str, weight: f64) -> RoundReason {
    RoundReason {
        signal: "conductivity",
        quarter: Some("LR"),
        observed: 7.1,
        expected: 5.2,
        unit: "mS/cm",
        weight,
        name_words: name.into(),
        value_words: value.into(),
    }
}

/// A call in words only.
#[allow(clippy::too_many_arguments, reason = "each is one word of the call")]
pub fn call(
    subject: &'static str,
    who: &str,
    urgency: &'static str,
    place: &str,
    says: &str,
    action: &str,
    why: &str,
) -> RoundCall {
    RoundCall {
        id: format!("{who}-udder-1"),
        subject,
        animal: (subject == "cow").then(|| who.to_owned()),
        box_name: (subject == "box").then(|| who.to_owned()),
        quarter: None,
        cause: "udder",
        probability: 0.93,
        others: vec![Other { cause: "unclear", probability: 0.04 }],
        urgency,
        since: "2026-03-02T14:10:00-06:00".into(),
        sentence: format!("{who}: {says}"),
        says: says.into(),
        action: action.into(),
        why: why.into(),
        others_words: String::new(),
        cautions: Vec::new(),
        reasons: Vec::new(),
        worth: 12.0,
        place: place.into(),
        found: None,
        asked: String::new(),
        past: Vec::new(),
        lanes: None,
    }
}

/// The call of 214, whole.
pub fn urgent() -> RoundCall {
    RoundCall {
        quarter: Some("LR"),
        others_words: "Other causes: ill without a clear cause 4 %, conductivity probe of box 1 under 1 %. What would \
                       decide: foremilk of left rear. She had one case, left rear, last June."
            .into(),
        cautions: vec![
            "A hot, hard quarter or a cow that will not eat: call the veterinarian now. Treated milk stays out of the \
             tank as the label and the veterinarian say."
                .into(),
        ],
        reasons: vec![
            reason("left rear conductivity", "7.1, usually 5.2 mS/cm", 6.1),
            reason("left rear share of milk", "18, usually 26 %", 3.4),
            reason("milk of the last milkings", "9.9, usually 11.5 kg", 0.6),
            reason("kicked off", "no more than usual", -0.9),
        ],
        lanes: Some(lanes("Cow 214, last ten days", 10, wall("2026-03-02T14:10"), true)),
        ..call(
            "cow",
            "214",
            "now",
            "Pen 2",
            "left rear looks inflamed, 93 % sure.",
            "Keep her milk out of the tank until someone has looked. Bring her in and strip left rear.",
            "Since yesterday 14:10; the milkings of 16:40 and 01:05 may be in the tank. Conductivity 7.1, usually 5.2; \
             a third of that quarter's share is missing.",
        )
    }
}

/// The round of the whole farm.
pub fn full() -> Round {
    let mut second = RoundCall {
        reasons: vec![
            reason("right front share of milk", "19, usually 23 %", 2.2),
            reason("conductivity", "5.3, usually 5.2 mS/cm", -0.4),
        ],
        lanes: Some(lanes("Cow 87, last ten days", 10, wall("2026-02-26T03:00"), false)),
        others_words: "Other causes: well 20 %.".into(),
        ..call(
            "cow",
            "87",
            "today",
            "Pen 2",
            "right front may be inflamed, 71 % sure.",
            "Strip right front today.",
            "Since Thursday; that quarter gives a sixth less. No conductivity is measured in box 2.",
        )
    };
    second.quarter = Some("RF");
    let calls = vec![
        urgent(),
        second,
        call(
            "cow",
            "151",
            "today",
            "Pen 2",
            "something is wrong, 64 % sure; the signals do not say what.",
            "Look at her today: does she eat, is she warm, how does she walk?",
            "Milk 22 % under what was expected since Sunday; visits fell from 3.1 to 2.3 a day.",
        ),
        RoundCall {
            reasons: vec![reason("milk", "21.0, usually 27.5 kg a day", 2.9)],
            cautions: vec![
                "A fresh cow with cold ears, unsteady or down: milk fever kills within hours, call the veterinarian."
                    .into(),
            ],
            lanes: Some(lanes("Cow 309, last ten days", 10, wall("2026-03-01T20:00"), true)),
            ..call(
                "cow",
                "309",
                "today",
                "Fresh pen",
                "something is wrong, 58 % sure; eleven days after calving.",
                "Take her temperature today; left side hollow or not eating: call the veterinarian.",
                "Milk stopped rising on Sunday.",
            )
        },
        call(
            "box",
            "Box 1",
            "today",
            "Box 1",
            "its milk meter may read 6 % low since Sunday, 97 % sure.",
            "Weigh ten milkings beside it. 41 cows look low in this box only; none of them is called for it.",
            "Box 2 and the tank agree; the difference is the same for every cow.",
        ),
        call(
            "herd",
            "All pens",
            "watch",
            "Herd",
            "3 % less milk since Saturday, 88 % sure.",
            "Ask what changed in the mixed ration on Friday.",
            "Both boxes, all stages.",
        ),
    ];
    let places = [("Pen 2", vec![0, 1, 2]), ("Fresh pen", vec![3]), ("Box 1", vec![4]), ("Herd", vec![5])];
    let mut not_judged: Vec<NotJudged> =
        (0..38).map(|index| NotJudged { animal: format!("{}", 400 + index), why: "dry".into() }).collect();
    not_judged.extend(["300", "301", "305"].map(|animal| NotJudged {
        animal: animal.into(),
        why: "fewer than three milkings since calving".into(),
    }));
    Round {
        farm: "Hollow Ash farm".into(),
        at: "2026-03-03T05:30:00-06:00".into(),
        at_words: "Tuesday 3 March, 05:30".into(),
        last_row_words: "05:12".into(),
        model: "milk-1, fitted 28 February".into(),
        summary: "Six things to look at. Nothing seen on 118 cows; 41 are not judged.".into(),
        calls,
        places: places.into_iter().map(|(name, calls)| Place { name: name.into(), calls }).collect(),
        looked_at: Vec::new(),
        open: Vec::new(),
        counts: cowpath_core::say::summary::Counts::default(),
        quiet: Quiet { cows: 118, not_judged },
        away: Default::default(),
        learned: Default::default(),
        notes: vec!["No row has come from box 2 since 22:15 yesterday: cows it milked are judged by what came before.".into()],
    }
}

/// More calls than a person can walk: 24 cows with ten strips each, in one pen.
pub fn too_many() -> Round {
    let mut round = full();
    let mut call = round.calls.swap_remove(0);
    if let Some(lanes) = &mut call.lanes {
        let speaks: Vec<_> = lanes.lanes.iter().filter(|lane| lane.speaks).cloned().collect();
        for _ in 0..3 {
            lanes.lanes.extend(speaks.iter().cloned());
        }
    }
    round.calls = (0..24)
        .map(|number| RoundCall { animal: Some(format!("{}", 200 + number)), ..call.clone() })
        .collect();
    round.places = vec![Place { name: "Pen 2".into(), calls: (0..24).collect() }];
    round.summary = "24 things to look at.".into();
    round
}

/// A round without calls; `cows` judged, `new` not.
pub fn without_calls(cows: usize, new: usize) -> Round {
    Round {
        summary: format!("Nothing differs on {cows} cows; {new} are not judged."),
        calls: Vec::new(),
        places: Vec::new(),
        notes: Vec::new(),
        quiet: Quiet {
            cows,
            not_judged: (0..new)
                .map(|index| NotJudged {
                    animal: format!("{}", 300 + index),
                    why: "fewer than three milkings since calving".into(),
                })
                .collect(),
        },
        last_row_words: if cows + new == 0 { String::new() } else { "05:12".into() },
        ..full()
    }
}

/// A herd with names that are hard to write.
pub fn herd() -> Vec<HerdRow> {
    let row = |animal: &str, calls: &[&str]| HerdRow {
        animal: animal.into(),
        place: "Pen 2".into(),
        stage_words: "second lactation, day 120".into(),
        calls: calls.iter().map(ToString::to_string).collect(),
    };
    let mut rows = vec![
        row("214", &["left rear looks inflamed, 93 % sure"]),
        row("87", &["right front may be inflamed, 71 % sure"]),
    ];
    rows.extend(HARD_NAMES.iter().map(|name| row(name, &[])));
    rows.extend((300..340).map(|number| row(&number.to_string(), &[])));
    rows
}

/// Names that would break a page or an address that is not careful.
pub const HARD_NAMES: [&str; 12] = [
    "<script>bad(1)</script>",
    "\"><img src=x onerror=bad(1)>",
    "=cmd|' /C calc'!A0",
    "../..",
    "..",
    ".",
    "a/b",
    "100%",
    "%2e%2e%2f",
    "Käthe & Söhne?x=1#y",
    "a\\b+c d",
    "7;DROP TABLE visits",
];

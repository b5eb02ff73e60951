//! The list of Bring in as it is shown: its cows in figures and words, who is expected by which hour, what the reader
//! should know.

use cowpath_core::{
    coming::{self, Fits, limits::Limits, list::Room},
    herd::Life,
    say::{self, bring_in as words, number, when},
    units::Kilograms,
};
use cowpath_store::Brought;
use jiff::{RoundMode, SignedDuration, Timestamp, Unit, ZonedDateTimeRound};

use super::{
    bring_in::{BringIn, Brings, ByHour, Done, Expected, Missing, Waits},
    bringing::Cow,
    farm::Barn,
    habits::Pens,
    places::pen_words,
    round::Round,
    view::View,
};

/// She is expected when she has come with this chance.
const EXPECTED: f64 = 0.8;

/// A list of a farm that has no rows.
pub fn empty(barn: &Barn, at: Timestamp) -> anyhow::Result<BringIn> {
    let ways = barn.ways()?;
    Ok(BringIn {
        farm: ways.name.clone(),
        at: when::rfc3339(at, &ways.zone),
        at_words: when::heading(at, at, &ways.zone),
        last_row_words: String::new(),
        model: "not yet fitted".into(),
        summary: "No rows have been read yet, so nobody is known to be in milk.".into(),
        bring: Vec::new(),
        missing: Vec::new(),
        rest: Vec::new(),
        by_hour: Vec::new(),
        cautions: Vec::new(),
        notes: vec!["Read the logs of your boxes first: cowpath import FILE...".into()],
    })
}

/// Who is expected by which whole hour of the clock; `rest` is in order of that.
pub(super) fn by_hour(view: &View, rest: &[Expected]) -> Vec<ByHour> {
    let zone = &view.ways.zone;
    let up = ZonedDateTimeRound::new().smallest(Unit::Hour).mode(RoundMode::Ceil);
    let mut all: Vec<ByHour> = Vec::new();
    for own in rest {
        let by: Option<Timestamp> = own.cow.by.as_deref().and_then(|by| by.parse().ok());
        let words = match by.and_then(|by| by.to_zoned_datetime(zone.clone()).round(up).ok()) {
            Some(hour) => format!("by {}", when::instant(hour.timestamp(), view.at, zone)),
            None => "not within a day".into(),
        };
        match all.last_mut().filter(|last| last.words == words) {
            Some(last) => last.animals.push(own.cow.animal.clone()),
            None => all.push(ByHour { words, animals: vec![own.cow.animal.clone()] }),
        }
    }
    all
}

/// A cow to be looked for.
pub(super) fn away(
    view: &View,
    life: &Life,
    seen: Option<Timestamp>,
    calved: Option<Timestamp>,
    usual_h: Option<f64>,
) -> Missing {
    let zone = &view.ways.zone;
    let says = words::away(&words::Away { seen, calved, usual_h, at: view.at, zone });
    Missing {
        animal: life.animal.clone(),
        place: place(life.pen(view.at)),
        seen: seen.map(|seen| when::rfc3339(seen, zone)),
        sentence: format!("{}: {says}", life.animal),
        says,
    }
}

fn place(pen: Option<&str>) -> String {
    pen.map_or_else(|| "No pen on record".to_owned(), pen_words)
}

/// A cow in figures.
pub(super) fn waits(view: &View, pens: &Pens<'_>, cow: &Cow<'_>) -> Waits {
    let zone = &view.ways.zone;
    let rounded = |value: f64| (value * 1e4).round() / 1e4;
    let alone = |hours: f64| rounded(cow.chances.alone_within(hours));
    let milked = |hours: f64| rounded(cow.chances.milked_within(hours));
    let by = cow.chances.alone_by(EXPECTED).and_then(|hours| later(view.at, hours));
    Waits {
        animal: cow.life.animal.clone(),
        place: place(pens.names.get(cow.pen).copied().flatten()),
        since: when::rfc3339(cow.since, zone),
        hours: rounded(cow.since_h),
        limit_h: rounded(cow.limit.hours),
        limit_why: match cow.limit.why {
            coming::limits::Why::Stage => "stage",
            coming::limits::Why::Fresh => "fresh",
            coming::limits::Why::Treated => "treated",
            coming::limits::Why::Milk => "milk",
        },
        expected_kg: cow.expected_kg.map(rounded),
        first_lactation: cow.stage.parity.map(|parity| parity <= 1),
        alone_2h: alone(2.0),
        alone_4h: alone(4.0),
        alone_8h: alone(8.0),
        milked_2h: milked(2.0),
        milked_4h: milked(4.0),
        milked_8h: milked(8.0),
        by: by.map(|by| when::rfc3339(by, zone)),
    }
}

/// A cow to be brought in, with her reasons.
pub(super) fn brings(
    view: &View,
    round: &Round,
    limits: &Limits,
    marks: &[Brought],
    cow: &Cow<'_>,
    hour: usize,
    waits: Waits,
) -> Brings {
    let (at, zone) = (view.at, &view.ways.zone);
    let stage = say::summary::stage(cow.stage);
    let facts = words::Facts {
        since_h: cow.since_h,
        fresh_unmilked: cow.unmilked,
        limit: cow.limit,
        stage: &stage,
        expected: cow.expected_kg.map(Kilograms),
        in_time: (cow.chances.alone_within(limits.in_time_h), later(at, limits.in_time_h).unwrap_or(at)),
        at,
        zone,
        units: view.ways.units,
    };
    let says = words::says(&facts);
    let begins = later(at, hour as f64).unwrap_or(at);
    let call = round.calls.iter().find(|call| call.animal.as_deref() == Some(&cow.life.animal));
    let mark =
        marks.iter().find(|mark| mark.what.animal == cow.life.animal && mark.what.since == Some(cow.since));
    Brings {
        from: when::rfc3339(begins, zone),
        from_words: if hour == 0 {
            "now".into()
        } else {
            format!("from {}", when::instant(begins, at, zone))
        },
        sentence: format!("{}: {says}", cow.life.animal),
        says,
        reasons: words::reasons(&facts),
        call: call.map(|call| call.says.clone()),
        done: mark.map(|mark| done(mark, at, view)),
        cow: waits,
    }
}

/// A mark in words.
pub fn done(mark: &Brought, at: Timestamp, view: &View) -> Done {
    let zone = &view.ways.zone;
    let by = mark.what.by.as_deref().map_or(String::new(), |by| format!(" by {by}"));
    Done {
        id: mark.id,
        at: when::rfc3339(mark.what.at, zone),
        words: format!("Brought {}{by}.", when::instant(mark.what.at, at.max(mark.what.at), zone)),
    }
}

/// A cow that is expected.
pub(super) fn expected(view: &View, cow: Waits) -> Expected {
    let by: Option<Timestamp> = cow.by.as_deref().and_then(|by| by.parse().ok());
    let by_words = by.map_or("not within a day".into(), |by| when::instant(by, view.at, &view.ways.zone));
    Expected { cow, by_words }
}

fn later(at: Timestamp, hours: f64) -> Option<Timestamp> {
    Timestamp::from_millisecond(at.as_millisecond() + (hours * 3_600_000.0) as i64).ok()
}

/// Which fit, in words.
pub(super) fn model_words(fits: &Fits, fitted: Option<Timestamp>, view: &View) -> String {
    let fitted = fitted.map(|turn| when::instant(turn, view.at, &view.ways.zone));
    match fitted {
        Some(turn) => format!("fitted to {} milkings known by {turn}", number::count(fits.milkings as usize)),
        None => "not yet fitted".into(),
    }
}

/// What the reader should know.
pub(super) fn notes(
    view: &View,
    pens: &Pens<'_>,
    rooms: &[Room],
    known: Option<Timestamp>,
    fitted: Option<Timestamp>,
) -> Vec<String> {
    let mut notes = Vec::new();
    if let Some(last) = known.filter(|last| SignedDuration::from_hours(2) < view.at.duration_since(*last)) {
        notes.push(format!(
            "No row since {}: who has been milked since then is not known here. Read the boxes' logs first.",
            when::instant(last, view.at, &view.ways.zone)
        ));
    }
    if fitted.is_none() {
        notes.push("When this herd's cows come is not fitted yet: that takes the first week or two of rows. Until then the chances rest on published intervals.".into());
    }
    for (name, _) in pens.names.iter().zip(rooms).filter(|(_, room)| room.boxes == 0) {
        notes.push(format!(
            "{}: none of its boxes has had a visit for six hours. Look at the box before you bring anybody.",
            place(*name)
        ));
    }
    notes
}

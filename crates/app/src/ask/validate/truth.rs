//! What truly went on in a simulated herd: its cases, its boxes' faults, and what looks like trouble and is none.
//!
//! Read from the files the simulator writes beside the logs and that nothing that judges a herd may read.

use std::path::Path;

use anyhow::Context as _;
use jiff::{SignedDuration, Timestamp};

/// A drift is asked for once it has grown to this share of what is measured.
const DRIFT_ASKED_FROM: f64 = 0.06;
/// Usual conductivity that a probe's error is a share of, mS/cm (`sources.md` §4.2: healthy 4.87).
const USUAL_MS_CM: f64 = 4.87;

/// One case of one cow; a heat is one too.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// Herd number.
    pub animal: String,
    /// The cause's word.
    pub kind: String,
    /// What form it took: `silent`, `fast`, …
    pub form: String,
    /// `LF RF LR RR`, of an udder case.
    pub quarter: Option<String>,
    /// First departure of any signal; of a heat the rise of activity.
    pub began: Timestamp,
    /// First sign that a person at the cow could see.
    pub first_sign: Timestamp,
    /// When people noticed, if they did.
    pub noticed: Option<Timestamp>,
    /// When it was over; the far future while it was not.
    pub ended: Timestamp,
    /// Whether a person at the cow could see it at all.
    pub clinical: bool,
    /// Most milk lost, share of the whole udder.
    pub milk_loss: f64,
}

impl Case {
    /// An illness: no heat.
    pub fn is_illness(&self) -> bool {
        self.kind != "heat"
    }

    /// Whether it holds at a time.
    pub fn holds(&self, at: Timestamp) -> bool {
        let ended =
            if self.kind == "heat" { later(self.began, HEAT_HOLDS).max(self.ended) } else { self.ended };
        self.began <= at && at <= ended
    }

    /// Whether any of it lies within `margin` of a span.
    pub fn is_near(&self, from: Timestamp, to: Timestamp, margin: SignedDuration) -> bool {
        earlier(self.began, margin) <= to && from <= later(self.ended, margin)
    }
}

/// A heat holds until the egg is shed, not until her activity is back: 30 h after its onset (`sources.md` §4.3).
const HEAT_HOLDS: SignedDuration = SignedDuration::from_hours(30);

/// A fault of a box.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// Name of the box.
    pub at_box: String,
    /// The cause's word.
    pub kind: String,
    /// The cup it hangs on, if one.
    pub quarter: Option<String>,
    /// A drift, not a step.
    pub drifts: bool,
    /// Begin.
    pub from: Timestamp,
    /// End.
    pub to: Timestamp,
    /// From when on it must be named: its begin, of a drift when it has grown to 6 %; `None` where it never does.
    pub due: Option<Timestamp>,
}

/// Something that moves the whole herd, or that looks like trouble and is none.
#[derive(Debug, Clone, PartialEq)]
pub struct Happening {
    /// Its word.
    pub kind: String,
    /// Herd number, where it is a cow's.
    pub animal: Option<String>,
    /// Begin.
    pub from: Timestamp,
    /// End.
    pub to: Timestamp,
}

/// All of it.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Truth {
    /// Cases and heats.
    pub cases: Vec<Case>,
    /// Faults of boxes.
    pub faults: Vec<Fault>,
    /// Happenings.
    pub happenings: Vec<Happening>,
}

/// A time before another, as far as the calendar goes.
pub fn earlier(at: Timestamp, by: SignedDuration) -> Timestamp {
    at.saturating_sub(by).unwrap_or(Timestamp::MIN)
}

/// A time after another, likewise.
pub fn later(at: Timestamp, by: SignedDuration) -> Timestamp {
    at.saturating_add(by).unwrap_or(Timestamp::MAX)
}

/// Reads the truth of a herd from its folder.
pub fn read(dir: &Path) -> anyhow::Result<Truth> {
    let mut truth = Truth::default();
    each(&dir.join("cases.csv"), &mut |row| {
        truth.cases.push(Case {
            animal: row.word("animal")?.unwrap_or_default(),
            kind: row.word("kind")?.unwrap_or_default(),
            form: row.word("form")?.unwrap_or_default(),
            quarter: row.word("quarter")?,
            began: row.time("began_at")?.unwrap_or(Timestamp::MIN),
            first_sign: row.time("first_sign_at")?.unwrap_or(Timestamp::MAX),
            noticed: row.time("noticed_at")?,
            ended: row.time("ended_at")?.unwrap_or(Timestamp::MAX),
            clinical: row.figure("clinical")? == Some(1.0),
            milk_loss: row.figure("milk_loss_pct")?.unwrap_or(0.0) / 100.0,
        });
        Ok(())
    })?;
    each(&dir.join("box-faults.csv"), &mut |row| {
        let (from, to) = (row.time("from")?.unwrap_or(Timestamp::MIN), row.time("to")?);
        let kind = row.word("kind")?.unwrap_or_default();
        let drifts = row.word("form")?.as_deref() == Some("drift");
        let size = row.figure("size")?.unwrap_or(0.0);
        let due =
            if drifts { grown(&kind, size, from, row.time("full_at")?.unwrap_or(from)) } else { Some(from) };
        truth.faults.push(Fault {
            at_box: row.word("box")?.unwrap_or_default(),
            quarter: row.word("quarter")?,
            drifts,
            from,
            to: to.unwrap_or(Timestamp::MAX),
            due: due.filter(|due| to.is_none_or(|to| *due < to)),
            kind,
        });
        Ok(())
    })?;
    each(&dir.join("happenings.csv"), &mut |row| {
        truth.happenings.push(Happening {
            kind: row.word("kind")?.unwrap_or_default(),
            animal: row.word("animal")?,
            from: row.time("from")?.unwrap_or(Timestamp::MIN),
            to: row.time("to")?.unwrap_or(Timestamp::MAX),
        });
        Ok(())
    })?;
    Ok(truth)
}

/// When a drift that grows evenly to its size has reached 6 % of what is measured; `None` where it never does.
fn grown(kind: &str, size: f64, from: Timestamp, full: Timestamp) -> Option<Timestamp> {
    let share = match kind {
        "conductivity-probe" => size.abs() / USUAL_MS_CM,
        // Of a dispenser the share that is given is told.
        "feed-dispenser" => 1.0 - size,
        _ => size.abs(),
    };
    if share < DRIFT_ASKED_FROM {
        return None;
    }
    let grows_s = full.duration_since(from).as_secs_f64() * DRIFT_ASKED_FROM / share;
    Some(later(from, SignedDuration::from_secs(grows_s.round() as i64)))
}

/// One row of a table by the names of its columns.
pub struct Cells<'a> {
    header: &'a csv::StringRecord,
    row: &'a csv::StringRecord,
}

impl Cells<'_> {
    /// Whether the table has a column.
    pub fn has(&self, name: &str) -> bool {
        self.header.iter().any(|own| own == name)
    }

    /// What stands in a column; `None` where it is empty.
    ///
    /// # Errors
    /// Where there is no such column.
    pub fn word(&self, name: &str) -> anyhow::Result<Option<String>> {
        let place =
            self.header.iter().position(|own| own == name).with_context(|| format!("no column {name}"))?;
        Ok(self.row.get(place).filter(|cell| !cell.is_empty()).map(str::to_owned))
    }

    /// A time.
    ///
    /// # Errors
    /// Where there is no such column, or what stands in it is no time.
    pub fn time(&self, name: &str) -> anyhow::Result<Option<Timestamp>> {
        self.word(name)?.map(|word| word.parse().with_context(|| format!("{name} {word}"))).transpose()
    }

    /// A figure.
    ///
    /// # Errors
    /// Where there is no such column, or what stands in it is no figure.
    pub fn figure(&self, name: &str) -> anyhow::Result<Option<f64>> {
        self.word(name)?.map(|word| word.parse().with_context(|| format!("{name} {word}"))).transpose()
    }
}

/// Hands on each row of a table.
pub fn each(path: &Path, take: &mut dyn FnMut(&Cells<'_>) -> anyhow::Result<()>) -> anyhow::Result<()> {
    let mut reader =
        csv::Reader::from_path(path).with_context(|| format!("{} could not be read", path.display()))?;
    let header = reader.headers()?.clone();
    let mut row = csv::StringRecord::new();
    while reader.read_record(&mut row)? {
        take(&Cells { header: &header, row: &row }).with_context(|| path.display().to_string())?;
    }
    Ok(())
}

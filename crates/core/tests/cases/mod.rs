//! Published cases: figures from outside the project, each with its source and kind, and what the code gives for them.
//!
//! A case is a row of `cases/*.csv`: `name,source,kind,inputs,expected,unit,tolerance`. `name` is a function of
//! [`reckon`], `inputs` are `key=value` words, `tolerance` is `1e-9 rel` or `1e-12 abs`. Shared by the test that runs them
//! and by `cargo xtask validation`, which writes them down.

mod cause_cases;
mod level_cases;
mod minute_cases;
mod pen_cases;
mod reckon;
mod series;

use std::path::Path;

/// What stands behind a figure.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Read in the source.
    Published,
    /// Computed from what the source says, by another program or by hand.
    Derived,
    /// What the trade does; no source.
    CommonPractice,
    /// Well known, not read again.
    FromMemory,
}

impl Kind {
    /// Every kind, in the order pages list them.
    pub const ALL: [Kind; 4] = [Kind::Published, Kind::Derived, Kind::CommonPractice, Kind::FromMemory];

    /// As the rows write it.
    pub fn word(self) -> &'static str {
        match self {
            Kind::Published => "published",
            Kind::Derived => "derived",
            Kind::CommonPractice => "common practice",
            Kind::FromMemory => "from memory",
        }
    }

    /// Whether a miss fails the test. Figures without a source that was read are shown beside ours and decide nothing.
    pub fn decides(self) -> bool {
        matches!(self, Kind::Published | Kind::Derived)
    }
}

/// How far a figure may be off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tolerance {
    /// In the figure's unit.
    Absolute(f64),
    /// As a share of the expected figure.
    Relative(f64),
}

/// One figure from outside.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// File and line, for messages.
    pub at: String,
    /// The function asked.
    pub name: String,
    /// Who says so.
    pub source: String,
    /// What stands behind it.
    pub kind: Kind,
    /// `key=value` words.
    pub inputs: String,
    /// The figure.
    pub expected: f64,
    /// Its unit.
    pub unit: String,
    /// How far ours may be off.
    pub tolerance: Tolerance,
}

/// A case with what the code gives for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcome {
    /// The case.
    pub case: Case,
    /// The figure, or why there is none.
    pub got: Result<f64, String>,
}

impl Outcome {
    /// Distance from the expected figure, in the tolerance's own measure; infinite if there is no figure.
    pub fn error(&self) -> f64 {
        let Ok(got) = self.got else { return f64::INFINITY };
        let distance = (got - self.case.expected).abs();
        let error = match self.case.tolerance {
            Tolerance::Absolute(_) => distance,
            Tolerance::Relative(_) if distance == 0.0 => 0.0,
            Tolerance::Relative(_) => distance / self.case.expected.abs(),
        };
        if error.is_nan() { f64::INFINITY } else { error }
    }

    /// Further off than its tolerance allows.
    pub fn misses(&self) -> bool {
        let (Tolerance::Absolute(allowed) | Tolerance::Relative(allowed)) = self.case.tolerance;
        allowed < self.error()
    }
}

/// Every case of a folder, files and rows in order, with what the code gives for it.
///
/// Fails with all rows that cannot be read, each with file, line and what is wrong.
pub fn run(folder: &Path) -> Result<Vec<Outcome>, String> {
    let cases = read(folder)?;
    Ok(cases
        .into_iter()
        .map(|case| Outcome { got: reckon::reckon(&case.name, &case.inputs), case })
        .collect())
}

fn read(folder: &Path) -> Result<Vec<Case>, String> {
    let listing = std::fs::read_dir(folder).map_err(|error| format!("{}: {error}", folder.display()))?;
    let mut files: Vec<_> = listing
        .filter_map(|entry| Some(entry.ok()?.path()))
        .filter(|path| path.extension().is_some_and(|extension| extension == "csv"))
        .collect();
    files.sort();
    let (mut cases, mut faults) = (Vec::new(), Vec::new());
    for file in files {
        let name = file.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let mut reader = csv::Reader::from_path(&file).map_err(|error| format!("{name}: {error}"))?;
        for (row, record) in reader.records().enumerate() {
            let at = format!("{name}, row {}", row + 1);
            match record.map_err(|error| error.to_string()).and_then(|record| case(&at, &record)) {
                Ok(case) => cases.push(case),
                Err(fault) => faults.push(format!("{at}: {fault}")),
            }
        }
    }
    if faults.is_empty() { Ok(cases) } else { Err(faults.join("\n")) }
}

fn case(at: &str, record: &csv::StringRecord) -> Result<Case, String> {
    let fields: Vec<&str> = record.iter().collect();
    let [name, source, kind, inputs, expected, unit, tolerance] = fields[..] else {
        return Err(format!(
            "{} fields; write name,source,kind,inputs,expected,unit,tolerance",
            fields.len()
        ));
    };
    if source.trim().is_empty() {
        return Err("no source; write who says so, or `common practice` as its kind and source".into());
    }
    let kind = Kind::ALL
        .into_iter()
        .find(|known| known.word() == kind)
        .ok_or_else(|| format!("kind `{kind}`; write published, derived, common practice or from memory"))?;
    Ok(Case {
        at: at.into(),
        name: name.into(),
        source: source.into(),
        kind,
        inputs: inputs.into(),
        expected: expected.parse().map_err(|_| format!("expected `{expected}` is no figure"))?,
        unit: unit.into(),
        tolerance: parse_tolerance(tolerance)?,
    })
}

fn parse_tolerance(words: &str) -> Result<Tolerance, String> {
    let fault = || format!("tolerance `{words}`; write it as `1e-9 rel` or `1e-12 abs`");
    let (figure, measure) = words.split_once(' ').ok_or_else(fault)?;
    let figure: f64 = figure.parse().map_err(|_| fault())?;
    match measure {
        "abs" => Ok(Tolerance::Absolute(figure)),
        "rel" => Ok(Tolerance::Relative(figure)),
        _ => Err(fault()),
    }
}

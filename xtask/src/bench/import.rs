//! How fast do visits come in beside the `sqlite3` shell's own import, how fast the second time, and in how much memory?

use std::{
    fs::{self, File, OpenOptions},
    io::{BufRead, BufReader, BufWriter, Write},
    path::{Path, PathBuf},
};

use super::{
    Line, herd, line,
    measure::{self, Took},
    told, word,
};

/// Visits into a new farm and into the shell's bare table, in turn; then the same file twice more.
pub fn speed(program: &Path) -> anyhow::Result<Vec<Line>> {
    let visits = herd::logs(&herd::MIDDLE)?.join("visits.csv");
    let rows = herd::rows(&visits)?;
    let files = [word(&visits)];
    let farm = herd::fresh("import")?;
    // Each reads the file from the disk's cache: once through before anything is timed.
    let (ours, shell) = beside(program, &visits, &files, &farm)?;
    let mut lines = vec![told(format!("visits in, {rows} rows, all sensors"), ours.words())];
    if let Some(shell) = shell {
        lines.push(told("the `sqlite3` shell's `.import` of the same file into bare text", shell.words()));
        let (clock, busiest, all) = (
            shell.clock_s / ours.clock_s,
            shell.busiest_s / ours.busiest_s,
            shell.processor_s / ours.processor_s,
        );
        lines.push(line(
            "shell's time over ours",
            format!(
                "{clock:.2} by the clock, {busiest:.2} by the busiest thread, {all:.2} by all processor time"
            ),
            "≥ 1.0, never < 0.5",
            1.0 <= clock,
        ));
    } else {
        lines.push(told("the `sqlite3` shell", "not on this machine: not compared"));
    }
    let again = herd::import(program, &farm, &files)?;
    lines.push(ratio("the same file again", &ours, &again));
    // One more row and the file is another: every row is looked at again.
    let longer = grown(&visits)?;
    let by_row = herd::import(program, &farm, &[word(&longer)])?;
    lines.push(ratio("the same rows and one more, row by row", &ours, &by_row));
    Ok(lines)
}

/// Both of them twice, in turn; the better run of each.
fn beside(
    program: &Path,
    visits: &Path,
    files: &[String],
    farm: &Path,
) -> anyhow::Result<(Took, Option<Took>)> {
    let (mut ours, mut shell): (Option<Took>, Option<Took>) = (None, None);
    let better = |old: Option<Took>, new: Took| match old {
        Some(old) if old.clock_s <= new.clock_s => Some(old),
        _ => Some(new),
    };
    for _ in 0..2 {
        if let Some(took) = by_shell(visits)? {
            shell = better(shell, took);
        }
        herd::fresh("import")?;
        ours = better(ours, herd::import(program, farm, files)?);
    }
    Ok((ours.unwrap_or_default(), shell))
}

fn by_shell(visits: &Path) -> anyhow::Result<Option<Took>> {
    let Some(shell) = on_path("sqlite3") else { return Ok(None) };
    let file = herd::fresh("shell")?.join("shell.sqlite");
    let import = format!(".import '{}' visits", visits.display());
    let took = measure::run(&shell, &[&word(&file), ".mode csv", &import])?;
    fs::remove_file(&file)?;
    Ok(Some(took))
}

fn on_path(program: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH")?;
    std::env::split_paths(&path).map(|folder| folder.join(program)).find(|file| file.is_file())
}

fn ratio(what: &str, first: &Took, second: &Took) -> Line {
    let by = first.busiest_s / second.busiest_s.max(1e-9);
    let figure = format!(
        "{}: {:.1} × faster by the clock, {by:.1} × by the busiest thread",
        second.words(),
        first.clock_s / second.clock_s
    );
    line(what, figure, "≥ 2 ×", 2.0 <= first.clock_s / second.clock_s)
}

/// The file with its last row once more, a thousand visits of a new cow's number later.
fn grown(visits: &Path) -> anyhow::Result<PathBuf> {
    let longer = herd::fresh("longer")?.join("visits.csv");
    fs::copy(visits, &longer)?;
    let last = BufReader::with_capacity(1 << 18, File::open(visits)?)
        .lines()
        .last()
        .transpose()?
        .unwrap_or_default();
    let rest = last.split_once(',').map_or("", |(_, rest)| rest);
    writeln!(OpenOptions::new().append(true).open(&longer)?, "new,{rest}")?;
    Ok(longer)
}

/// Rows of the file whose memory is measured.
const MANY: u64 = 2_000_000;
const FEW: u64 = 200_000;

/// Memory at its peak over two million visits, and over a tenth of them.
pub fn memory(program: &Path) -> anyhow::Result<Vec<Line>> {
    let visits = herd::logs(&herd::MIDDLE)?.join("visits.csv");
    let folder = herd::fresh("memory")?;
    let mut peaks = Vec::new();
    for rows in [FEW, MANY] {
        let file = folder.join(format!("visits-{rows}.csv"));
        lengthened(&visits, &file, rows)?;
        peaks.push(herd::import(program, &herd::fresh("memory-farm")?, &[word(&file)])?.peak_mb);
        fs::remove_file(&file)?;
    }
    herd::fresh("memory-farm")?;
    Ok(vec![line(
        format!("memory at its peak, {MANY} visits in one file"),
        format!("{:.0} MB; {:.0} MB for {FEW}", peaks[1], peaks[0]),
        "< 300 MB",
        0.0 < peaks[1] && peaks[1] < 300.0,
    )])
}

/// So many rows: the herd's, then the same again under other numbers.
fn lengthened(visits: &Path, into: &Path, rows: u64) -> anyhow::Result<()> {
    let mut out = BufWriter::with_capacity(1 << 18, File::create(into)?);
    let mut written = 0;
    for round in 0.. {
        let lines = BufReader::with_capacity(1 << 18, File::open(visits)?).lines();
        for (number, line) in lines.enumerate() {
            let line = line?;
            match (number, round) {
                (0, 0) => writeln!(out, "{line}")?,
                (0, _) => {}
                (_, 0) => writeln!(out, "{line}")?,
                (_, _) => writeln!(out, "{round}-{line}")?,
            }
            written += u64::from(number != 0);
            if written == rows {
                out.flush()?;
                return Ok(());
            }
        }
    }
    Ok(())
}

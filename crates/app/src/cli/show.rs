//! Printing: text, JSON and CSV to standard output, with names that a spreadsheet cannot take for formulas.

use std::io::{self, BufWriter, StdoutLock, Write};

use serde::Serialize;

/// Standard output, buffered; what is printed ends with its flush.
pub fn out() -> BufWriter<StdoutLock<'static>> {
    BufWriter::new(io::stdout().lock())
}

/// One line of text.
pub fn line(text: &str) -> anyhow::Result<()> {
    let mut out = out();
    writeln!(out, "{text}")?;
    out.flush()?;
    Ok(())
}

/// A line to standard error; where nobody hears them there is nobody to be told of that.
pub fn aside(text: &str) {
    let _ = writeln!(io::stderr(), "{text}");
}

/// One JSON document, indented, ending with a line end.
pub fn json(value: &impl Serialize) -> anyhow::Result<()> {
    let mut out = out();
    serde_json::to_writer_pretty(&mut out, value)?;
    out.write_all(b"\n")?;
    out.flush()?;
    Ok(())
}

/// A text cell that a spreadsheet opens as text: one that begins like a formula gets an apostrophe before it.
pub fn guarded(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}

/// Writes CSV rows to standard output.
pub fn csv(header: &[&str], rows: impl IntoIterator<Item = Vec<String>>) -> anyhow::Result<()> {
    let mut writer = csv::Writer::from_writer(out());
    writer.write_record(header)?;
    for row in rows {
        writer.write_record(&row)?;
    }
    writer.flush()?;
    Ok(())
}

/// A line for a terminal: control characters of a name in a log must not steer it.
pub fn plain(text: &str) -> String {
    text.chars()
        .map(|letter| if letter.is_control() && letter != '\n' { '\u{fffd}' } else { letter })
        .collect()
}

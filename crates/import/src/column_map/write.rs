//! A column map as text: what a person reads and shares, and what tells two maps apart.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use super::{ColumnMap, Take, VERSION};
use crate::stream::Encoding;

impl ColumnMap {
    /// As a file. `reasons` stand above the entry that fills a column of ours, by the column's place in the table.
    pub fn to_toml(&self, reasons: &BTreeMap<usize, String>) -> String {
        let mut text = String::from(
            "# A column map of Cowpath: how a table of another form is read. See docs/maps.md.\n",
        );
        let _ = writeln!(text, "version = {VERSION}");
        let _ = writeln!(text, "name = {}", quoted(&self.name));
        self.body(&mut text, reasons);
        text
    }

    /// What of the map decides how a file is read: without its name, remarks and the columns it was made for.
    pub fn essence(&self) -> String {
        let mut text = format!("version = {VERSION}\n");
        ColumnMap { columns: Vec::new(), ..self.clone() }.body(&mut text, &BTreeMap::new());
        text
    }

    fn body(&self, text: &mut String, reasons: &BTreeMap<usize, String>) {
        let mut line = |name: &str, value: &str| {
            let _ = writeln!(text, "{name} = {}", quoted(value));
        };
        line("table", self.table.name);
        line("separator", &separator_name(self.separator));
        line("decimal", &char::from(self.decimal).to_string());
        if let Some(sign) = self.thousands {
            line("thousands", &char::from(sign).to_string());
        }
        if self.encoding == Encoding::Windows1252 {
            line("encoding", "windows-1252");
        }
        line("order", self.order.name());
        if let Some(zone) = &self.zone {
            line("zone", zone);
        }
        if !self.header {
            text.push_str("header = false\n");
        }
        if !self.columns.is_empty() {
            let words: Vec<String> = self.columns.iter().map(|word| quoted(word)).collect();
            let _ = writeln!(text, "columns = [{}]", words.join(", "));
        }
        for take in &self.takes {
            text.push('\n');
            for reason in take.to.iter().filter_map(|target| reasons.get(target)).take(1) {
                for line in reason.lines() {
                    let plain: String = line.chars().filter(|letter| !letter.is_control()).collect();
                    let _ = writeln!(text, "# {plain}");
                }
            }
            self.entry(text, take);
        }
    }

    fn entry(&self, text: &mut String, take: &Take) {
        let name = |target: usize| self.table.columns.get(target).map_or("", |column| column.name);
        text.push_str("[[column]]\n");
        if !take.from.is_empty() {
            let _ = writeln!(text, "from = {}", one_or_many(&take.from));
        }
        if let Some(value) = &take.value {
            let _ = writeln!(text, "value = {}", quoted(value));
        }
        if let Some(split) = &take.split {
            let _ = writeln!(text, "split = {}", quoted(split));
        }
        let to: Vec<String> = take.to.iter().map(|&target| name(target).to_owned()).collect();
        let _ = writeln!(text, "to = {}", one_or_many(&to));
        if let Some(unit) = take.unit.and_then(|unit| unit.name()) {
            let _ = writeln!(text, "unit = {}", quoted(unit));
        }
        if let Some(order) = take.order {
            let _ = writeln!(text, "order = {}", quoted(order.name()));
        }
        let bases = [("after", take.after), ("before", take.before), ("next_day_of", take.next_day_of)];
        for (word, base) in bases {
            if let Some(base) = base {
                let _ = writeln!(text, "{word} = {}", quoted(name(base)));
            }
        }
        if let Some(clock) = &take.clock {
            let _ = writeln!(text, "clock = {}", quoted(clock));
        }
        if !take.words.is_empty() {
            let words: Vec<String> =
                take.words.iter().map(|(own, ours)| format!("{} = {}", quoted(own), quoted(ours))).collect();
            let _ = writeln!(text, "words = {{ {} }}", words.join(", "));
        }
    }
}

/// A separator as a map file names it.
pub(crate) fn separator_name(separator: u8) -> String {
    if separator == b'\t' { "tab".to_owned() } else { char::from(separator).to_string() }
}

fn one_or_many(words: &[String]) -> String {
    match words {
        [one] => quoted(one),
        many => format!("[{}]", many.iter().map(|word| quoted(word)).collect::<Vec<_>>().join(", ")),
    }
}

/// A basic string of TOML.
fn quoted(text: &str) -> String {
    let mut out = String::from("\"");
    for letter in text.chars() {
        match letter {
            '"' => out.push_str("\\\""),
            '\\' => out.push_str("\\\\"),
            '\n' => out.push_str("\\n"),
            '\r' => out.push_str("\\r"),
            '\t' => out.push_str("\\t"),
            control if control.is_control() => {
                let _ = write!(out, "\\u{:04X}", control as u32);
            }
            other => out.push(other),
        }
    }
    out.push('"');
    out
}

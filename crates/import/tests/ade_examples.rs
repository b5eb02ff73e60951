//! The standard's examples read to the rows they mean, which stand beside each, written by hand.
#![allow(clippy::unwrap_used)]

mod ade_common;

use std::fs;
use std::path::{Path, PathBuf};

use ade_common::{Kept, read, try_read};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/ade")
}

fn examples(folder: &Path) -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ending| ending == "json" || ending == "ndjson"))
        .collect();
    files.sort();
    files
}

fn read_path(path: &Path) -> Kept {
    read(&fs::read_to_string(path).unwrap())
}

#[test]
fn every_example_is_the_rows_beside_it() {
    let files = examples(&folder());
    assert_eq!(files.len(), 10);
    for path in files {
        let kept = read_path(&path);
        let expected = fs::read_to_string(path.with_extension("rows")).unwrap();
        let expected: Vec<&str> = expected.lines().collect();
        assert_eq!(kept.rows(), expected, "{}", path.display());
        assert_eq!(kept.counts.refused, 0, "{}", path.display());
        let counts = kept.counts;
        assert_eq!(counts.resources, counts.handed_on + counts.passed_over, "{}", path.display());
    }
}

#[test]
fn what_is_not_read_is_counted_and_named() {
    let said = read_path(&folder().join("09-attention-page.json")).said();
    assert_eq!(said, ["AttentionEvent: 3 of this kind: not read"]);
    let said = read_path(&folder().join("06-test-days-page.json")).said();
    assert!(
        said.contains(&"milkCharacteristics.UREA: not used; it stands there once".to_owned()),
        "{said:?}"
    );
}

#[test]
fn each_invalid_one_is_refused_with_the_reason() {
    let expected = [
        ("milkingMilkWeight", "is not there, and no row can do without it"),
        ("icarQuarterId", "is none of LF, RF, LR, RR"),
        ("milkCharacteristics.FAT", "is a number, where the standard writes the figure as a text"),
        ("milkingStartingDateTime", "has no offset, and the standard leaves none out"),
    ];
    let files = examples(&folder().join("invalid"));
    assert_eq!(files.len(), expected.len());
    for (path, (property, reason)) in files.iter().zip(expected) {
        let kept = read_path(path);
        assert_eq!(kept.refused(), (property.to_owned(), reason.to_owned()), "{}", path.display());
        assert!(kept.rows().is_empty());
        let issue = &kept.issues[0].1;
        assert_eq!(issue.line, Some(1));
        // All that the reader could see of it, to be mended.
        let value = |text: &str| serde_json::from_str::<serde_json::Value>(text).unwrap();
        assert_eq!(value(issue.raw.as_deref().unwrap()), value(&fs::read_to_string(path).unwrap()));
    }
}

#[test]
fn the_second_fault_of_the_fourth_is_refused_too() {
    let text = fs::read_to_string(folder().join("invalid/4-local-time-and-pounds.json")).unwrap();
    let kept = read(&text.replace("2026-03-01T23:41:10\"", "2026-03-01T23:41:10-05:00\""));
    assert_eq!(kept.refused().0, "milkingMilkWeight.unitCode");
}

#[test]
fn form_of_the_file_and_packing_change_nothing() {
    let text = fs::read_to_string(folder().join("01-milking-visits-page.json")).unwrap();
    let page: serde_json::Value = serde_json::from_str(&text).unwrap();
    let members = page["member"].as_array().unwrap();
    let lines: String = members.iter().map(|member| format!("{member}\n")).collect();
    let rows = read(&text).rows();
    assert_eq!(read(&page.to_string()).rows(), rows, "on one line");
    assert_eq!(read(&serde_json::to_string(members).unwrap()).rows(), rows, "a list");
    assert_eq!(read(&lines).rows(), rows, "one a line");
    assert_eq!(read(&lines.replace('\n', "\r\n\r\n")).rows(), rows, "blank lines between");
    let swapped = format!("{{\"member\":{},\"view\":{}}}", page["member"], page["view"]);
    assert_eq!(read(&swapped).rows(), rows, "the view at the end");
    let packed = zstd::encode_all(text.as_bytes(), 3).unwrap();
    assert_eq!(try_read(&packed).unwrap().rows(), rows, "zstd");
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    std::io::Write::write_all(&mut gzip, text.as_bytes()).unwrap();
    assert_eq!(try_read(&gzip.finish().unwrap()).unwrap().rows(), rows, "gzip");
    for member in members {
        assert_eq!(read(&member.to_string()).rows().len(), 1, "alone");
    }
}

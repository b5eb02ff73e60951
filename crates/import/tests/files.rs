//! Files as a whole: what they are packed in, which table they are, and why some cannot be read.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use std::io::{self, Read, Write};

use common::{Kept, read, reading, try_read, unreadable};
use cowpath_core::tables::{Cell, Table};
use cowpath_import::{
    Issue, ReadError, Reading, Sink, content_hash, read_bytes, read_file, read_from, which_table,
};

const VISITS: &str =
    "animal,box,started_at,ended_at,milk_kg\n214,2,2026-03-02T05:30:00Z,2026-03-02T05:37:00Z,9.8\n";

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut packer = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    packer.write_all(bytes).unwrap();
    packer.finish().unwrap()
}

fn zstd_of(bytes: &[u8]) -> Vec<u8> {
    zstd::encode_all(bytes, 3).unwrap()
}

/// More rows than are handed on between two words of progress.
const VISITS_MANY: u64 = 9_000;

fn many_visits() -> String {
    let mut text = VISITS.lines().next().unwrap().to_owned() + "\n";
    for visit in 0..VISITS_MANY {
        let (hour, minute) = (visit / 60 % 24, visit % 60);
        text += &format!(
            "{visit},1,2026-03-02T{hour:02}:{minute:02}:00Z,2026-03-02T{hour:02}:{minute:02}:59Z,9.8\n"
        );
    }
    text
}

#[test]
fn every_packing_and_encoding_reads_the_same() {
    let plain = read(VISITS);
    assert_eq!(plain.rows.len(), 1);
    let utf16 = |big: bool, mark: &str| -> Vec<u8> {
        let text = mark.to_owned() + &VISITS.replace("214", "Märta 🐄");
        text.encode_utf16()
            .flat_map(|unit| if big { unit.to_be_bytes() } else { unit.to_le_bytes() })
            .collect()
    };
    let bom = [b"\xEF\xBB\xBF".as_slice(), VISITS.as_bytes()].concat();
    let two_members = [gzip(&VISITS.as_bytes()[..50]), gzip(&VISITS.as_bytes()[50..])].concat();
    for bytes in [
        bom.clone(),
        gzip(VISITS.as_bytes()),
        zstd_of(VISITS.as_bytes()),
        gzip(&bom),
        two_members,
        VISITS.replace('\n', "\r\n").into_bytes(),
        VISITS.trim_end().as_bytes().to_vec(),
    ] {
        assert_eq!(try_read(&bytes, &reading()).unwrap().0.rows, plain.rows);
    }
    for bytes in [utf16(false, "\u{FEFF}"), utf16(true, "\u{FEFF}"), utf16(false, ""), utf16(true, "")] {
        let kept = try_read(&bytes, &reading()).unwrap().0;
        assert_eq!(kept.cell(0, "animal").text(), Some("Märta 🐄"));
        assert_eq!(kept.cell(0, "milk_kg"), plain.cell(0, "milk_kg"));
    }
}

#[test]
fn utf16_survives_any_block_size() {
    struct Dribble<'a>(&'a [u8], usize);
    impl Read for Dribble<'_> {
        fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
            let count = self.1.min(into.len()).min(self.0.len());
            into[..count].copy_from_slice(&self.0[..count]);
            self.0 = &self.0[count..];
            Ok(count)
        }
    }
    let text = format!("\u{FEFF}{}", VISITS.replace("214", "🐄🐄é"));
    let bytes: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    for size in 1..9 {
        let mut kept = Kept::default();
        read_from(Dribble(&bytes, size), None, &reading(), &mut kept, &mut |_| {}).unwrap();
        assert_eq!(kept.cell(0, "animal").text(), Some("🐄🐄é"));
    }
}

#[test]
fn empty_and_header_only() {
    let empty = (
        "the file is empty".to_owned(),
        "look whether its export had finished, and export it again".to_owned(),
    );
    for bytes in [b"".as_slice(), b"\n\r\n  \n", b"\xEF\xBB\xBF", &gzip(b""), &zstd_of(b"\n"), b"\xFF\xFE"] {
        assert_eq!(unreadable(bytes), empty);
    }
    let (kept, counts) = try_read(b"animal,box,started_at,ended_at", &reading()).unwrap();
    assert_eq!((counts.rows_read, kept.issues.len()), (0, 0));
}

#[test]
fn every_table_is_told_by_its_header_in_any_order() {
    for table in cowpath_core::tables::TABLES {
        let mut words: Vec<String> = table.columns.iter().map(|column| column.name.to_owned()).collect();
        words.reverse();
        let (kept, _) = try_read(words.join(",").as_bytes(), &reading()).unwrap();
        assert_eq!(kept.table.unwrap().name, table.name);
        assert_eq!(kept.said(), Vec::<String>::new());
        // And with imperial spellings wherever there are any.
        let imperial: Vec<String> = table
            .columns
            .iter()
            .map(|column| {
                column.imperial_name().unwrap_or_else(|| format!(" {} ", column.name.to_uppercase()))
            })
            .collect();
        let (kept, _) = try_read(imperial.join(",").as_bytes(), &reading()).unwrap();
        assert_eq!(kept.table.unwrap().name, table.name);
        assert_eq!(kept.said(), Vec::<String>::new());
    }
}

#[test]
fn an_unknown_header_names_the_nearest_table() {
    assert_eq!(
        unreadable(b"animal,box,started_at,milk_kg,colour\n"),
        (
            "the first line is the header of no table; it is nearest to `visits`, which also needs `ended_at`: \"animal,box,started_at,milk_kg,colour\""
                .to_owned(),
            "if it is a table of another form, propose a column map for it: `cowpath map FILE`; else, if each row is one time a cow stood in a box, add `ended_at` to header and rows, or give those columns these names, and read it again"
                .to_owned()
        )
    );
    let (reason, remedy) = unreadable(b"Kuh;Melkung;Menge\n1;2;3\n");
    assert_eq!(reason, "the first line names no column of any table: \"Kuh;Melkung;Menge\"");
    assert!(
        remedy.starts_with("propose a column map for it: `cowpath map FILE`; or let the first line name")
    );
    // No header at all.
    assert!(
        unreadable(VISITS.lines().nth(1).unwrap().as_bytes()).0.starts_with("the first line names no column")
    );
}

#[test]
fn a_wrong_separator_is_named() {
    for (separator, name) in [(";", "semicolons"), ("\t", "tabs"), ("|", "upright strokes")] {
        let (reason, remedy) = unreadable(VISITS.replace(',', separator).as_bytes());
        assert_eq!(
            reason,
            format!(
                "its columns look separated by {name}, not by commas; read so it would be the table `visits`"
            )
        );
        assert_eq!(
            remedy,
            "propose a column map for it: `cowpath map FILE`; or export it again with commas between the columns and points as decimal signs"
        );
    }
}

#[test]
fn a_line_that_names_the_separator_is_no_header() {
    assert_eq!(read(&format!("sep=,\n{VISITS}")).lines(), [3]);
    let semicolons = format!("SEP=;\r\n{}", VISITS.replace(',', ";"));
    assert!(unreadable(semicolons.as_bytes()).0.starts_with("its columns look separated by semicolons"));
}

#[test]
fn line_ends_of_long_ago() {
    assert_eq!(
        unreadable(VISITS.replace('\n', "\r").as_bytes()),
        (
            "its lines end in bare carriage returns, as they did on computers long ago".to_owned(),
            "save it again with the line ends of today's computers, and read it again".to_owned()
        )
    );
}

#[test]
fn a_sink_that_gives_up_ends_the_reading() {
    struct Full(u64);
    impl Sink for Full {
        type Error = &'static str;
        fn table(&mut self, _: &'static Table, _: &[String]) -> Result<(), &'static str> {
            Ok(())
        }
        fn row(&mut self, line: u64, _: &mut Vec<Cell>) -> Result<(), &'static str> {
            self.0 = line;
            if line == 3 { Err("the disk is full") } else { Ok(()) }
        }
        fn issue(&mut self, _: Issue) -> Result<(), &'static str> {
            Ok(())
        }
    }
    let mut full = Full(0);
    let ended = read_bytes(many_visits().as_bytes(), &reading(), &mut full);
    assert!(matches!(ended, Err(ReadError::Sink("the disk is full"))));
    assert_eq!(full.0, 3);
}

#[test]
fn two_columns_of_one_meaning() {
    for (one, other) in [("milk_kg", "milk_kg"), ("milk_kg", "milk_lb"), ("Milk_kg", "milk_KG")] {
        let (reason, remedy) =
            unreadable(format!("animal,on,{one},fat_pct,{other}\n1,2026-03-02,30,4,66\n").as_bytes());
        assert_eq!(
            reason,
            format!("two columns mean the same, `milk_kg` of `recordings`: \"{one}\" and \"{other}\"")
        );
        assert_eq!(remedy, "take one of the two out of the file, or give it another name, and read it again");
    }
    // Two that are not used do no harm.
    assert_eq!(read("animal,on,milk_kg,x,x\n1,2026-03-02,30,4,66\n").rows.len(), 1);
}

#[test]
fn other_kinds_of_file() {
    for (bytes, what) in [
        (b"PK\x03\x04rest".as_slice(), "this is a zip archive or a spreadsheet's own file (.xlsx, .ods)"),
        (b"SQLite format 3\0", "this is a SQLite database"),
        (b"%PDF-1.7", "this is a PDF"),
        (b"\x89PNG\r\n\x1a\n", "this is a picture"),
        (b"\xff\xd8\xff\xe0", "this is a picture"),
        (b"GIF89a", "this is a picture"),
        (b"<html><body>", "this is a web page"),
        (b"<!DOCTYPE html>", "this is a web page"),
        (b"<?xml version=", "this is an XML file"),
        (&gzip(&gzip(b"animal")), "this is a file compressed twice"),
    ] {
        assert_eq!(unreadable(bytes).0, format!("{what}, not a plain table"));
    }
    assert_eq!(
        unreadable(b"animal,box\0,started_at\n").0,
        "the first line holds NUL bytes: this is not text, or the file was damaged"
    );
    assert_eq!(
        unreadable(&[0; 5000]).0,
        "the first line holds NUL bytes: this is not text, or the file was damaged"
    );
    assert_eq!(
        unreadable(&vec![b'a'; 3 << 20]).0,
        "the first line is longer than 1048576 bytes, so it is no header"
    );
    assert_eq!(
        unreadable(b"\"animal,box\n1,2\n").0,
        "the first line opens a quotation mark and does not close it"
    );
}

#[test]
fn a_packed_file_that_is_cut_short_is_none() {
    let text = many_visits();
    for (form, packed) in [("gzip", gzip(text.as_bytes())), ("zstd", zstd_of(text.as_bytes()))] {
        // Every place in the head, some in the body, every place in the tail.
        let places = (5..20).chain((20..packed.len()).step_by(1999)).chain(packed.len() - 12..packed.len());
        for place in places {
            assert_eq!(
                unreadable(&packed[..place]),
                (
                    format!("the {form} file is cut short: it ends before its end mark"),
                    "nothing of it was kept: copy or download it again, whole, and read it again".to_owned()
                ),
                "{place} of {}",
                packed.len()
            );
        }
        assert_eq!(try_read(&packed, &reading()).unwrap().1.rows_read, VISITS_MANY);
    }
}

#[test]
fn a_packed_file_that_is_damaged_is_none() {
    let text = many_visits();
    let mut gz = gzip(text.as_bytes());
    let middle = gz.len() / 2;
    gz[middle..middle + 40].fill(0xFF);
    assert!(unreadable(&gz).0.starts_with("the gzip file is damaged: "));
    let mut zst = zstd::encode_all(text.as_bytes(), 3).unwrap();
    zst[8..60].fill(0xA5);
    assert!(unreadable(&zst).0.starts_with("the zstd file is "));
}

#[test]
fn a_small_file_that_unpacks_to_gigabytes() {
    // Two rows that would have gigabytes: 64 MiB of zeros are far enough to tell.
    let zeros = vec![b'0'; 64 << 20];
    let mut gz = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    gz.write_all(VISITS.as_bytes()).unwrap();
    gz.write_all(&zeros).unwrap();
    let mut zst = zstd::Encoder::new(Vec::new(), 1).unwrap();
    zst.write_all(VISITS.as_bytes()).unwrap();
    zst.write_all(&zeros).unwrap();
    for packed in [gz.finish().unwrap(), zst.finish().unwrap()] {
        assert!(packed.len() < 1 << 19);
        let (reason, remedy) = unreadable(&packed);
        assert!(reason.contains("bytes of this file unpack to more than"), "{reason}");
        assert!(remedy.starts_with("nothing of it was kept: look at where it comes from"), "{remedy}");
    }

    // The limit on bytes alone, for what packs within reason.
    let text = many_visits();
    let small = Reading { most_unpacked_bytes: 100_000, ..reading() };
    let why = try_read(&zstd_of(text.as_bytes()), &small).err().unwrap();
    assert!(why.to_string().contains("unpack to more than"), "{why}");
    assert!(try_read(text.as_bytes(), &small).is_ok(), "a plain file has no such limit");
}

#[test]
fn files_on_the_disk() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("of any name.txt");
    std::fs::write(&path, gzip(many_visits().as_bytes())).unwrap();
    let mut kept = Kept::default();
    let mut words = Vec::new();
    let counts = read_file(&path, &reading(), &mut kept, &mut |word| words.push(word)).unwrap();
    assert_eq!((counts.table, counts.rows_read, counts.rows_refused), ("visits", VISITS_MANY, 0));
    let bytes = std::fs::metadata(&path).unwrap().len();
    let last = words.last().unwrap();
    assert_eq!((last.rows, last.bytes, last.of_bytes), (VISITS_MANY, bytes, Some(bytes)));
    assert!(1 < words.len() && words.is_sorted_by_key(|word| (word.rows, word.bytes)));
    assert_eq!(which_table(&path, &reading()).unwrap().name, "visits");

    // BLAKE3 of the empty input, published with its test vectors.
    let empty = folder.path().join("empty.csv");
    std::fs::write(&empty, "").unwrap();
    let hex: String = content_hash(&empty).unwrap().iter().map(|byte| format!("{byte:02x}")).collect();
    assert_eq!(hex, "af1349b9f5f9a1a6a0404dea36dcc9499bcb25c9adc112b7cc9a93cae41f3262");
    assert_ne!(content_hash(&path).unwrap(), content_hash(&empty).unwrap());

    let missing = read_file(&folder.path().join("none.csv"), &reading(), &mut Kept::default(), &mut |_| {});
    let Err(ReadError::File(why)) = missing else { panic!("there is no such file") };
    assert_eq!(why.remedy(), "look whether name and folder are right");
    let whole_folder = read_file(folder.path(), &reading(), &mut Kept::default(), &mut |_| {});
    let Err(ReadError::File(why)) = whole_folder else { panic!("a folder is no file") };
    assert_eq!(why.remedy(), "name the files in this folder, not the folder");
}

#[test]
fn a_disk_that_fails_is_said_as_such() {
    struct Fails<'a>(&'a [u8]);
    impl Read for Fails<'_> {
        fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
            if self.0.is_empty() { Err(io::Error::from_raw_os_error(5)) } else { self.0.read(into) }
        }
    }
    for bytes in [VISITS.as_bytes().to_vec(), gzip(VISITS.as_bytes())[..30].to_vec()] {
        let failed = read_from(Fails(&bytes), None, &reading(), &mut Kept::default(), &mut |_| {});
        let Err(ReadError::File(why)) = failed else { panic!("the disk failed") };
        assert!(why.to_string().starts_with("the file could not be read: "), "{why}");
    }
}

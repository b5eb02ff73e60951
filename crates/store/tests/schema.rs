//! The schema and the declarations of `core` agree, column by column.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::farm;
use cowpath_core::tables::{Kind, TABLES};
use rusqlite::Connection;

#[test]
fn every_table_lies_in_the_file_as_it_is_declared() {
    let (_folder, farm) = farm();
    let file = Connection::open(farm.file()).unwrap();
    for table in TABLES {
        let name = table.name.replace('-', "_");
        let sql: String = file
            .query_row("SELECT sql FROM sqlite_schema WHERE name = ?1", [&name], |row| row.get(0))
            .unwrap_or_else(|_| panic!("{name} is not in the schema"));
        assert!(sql.ends_with("STRICT, WITHOUT ROWID"), "{name}");
        let mut info = file.prepare(&format!("PRAGMA table_info({name})")).unwrap();
        let columns: Vec<(String, String, bool, bool)> = info
            .query_map([], |row| {
                let (name, kind): (String, String) = (row.get(1)?, row.get(2)?);
                Ok((name, kind, row.get::<_, i64>(3)? != 0, row.get::<_, i64>(5)? != 0))
            })
            .unwrap()
            .map(Result::unwrap)
            .filter(|(column, ..)| !["day", "batch", "line", "print", "stands"].contains(&column.as_str()))
            .collect();
        let names: Vec<&str> = columns.iter().map(|column| column.0.as_str()).collect();
        let declared: Vec<&str> = table.columns.iter().map(|column| column.name).collect();
        assert_eq!(names, declared, "{name}");
        assert!(table.columns.len() <= 64, "columns are told apart by the bits of 64");
        for ((column, kind, not_null, in_key), declared) in columns.iter().zip(table.columns) {
            let expected = match (column.as_str(), declared.kind) {
                ("animal" | "box", _) => "INTEGER",
                (_, Kind::Text | Kind::OfficialId | Kind::Words(_) | Kind::Date) => "TEXT",
                (_, Kind::Time | Kind::Flag) => "INTEGER",
                (_, Kind::Number { .. }) => "REAL",
            };
            assert_eq!(kind, expected, "{name}.{column}");
            let key = table.key.contains(&column.as_str());
            assert_eq!(*in_key, key, "{name}.{column} in the key");
            assert_eq!(*not_null, declared.required || key, "{name}.{column} not null");
        }
    }
}

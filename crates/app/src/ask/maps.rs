//! Column maps as files: read, written, kept in a farm's folder, and the one that fits found again.

use std::{
    fs, io,
    io::Write as _,
    path::{Path, PathBuf},
    sync::Arc,
};

use cowpath_core::tables::Table;
use cowpath_import::{ColumnMap, Reading, Unreadable};

use crate::trouble::user;

/// Folder of a farm's maps.
const FOLDER: &str = "maps";
/// Longest text of a map that is read, bytes.
const LONGEST_MAP: u64 = 1 << 20;

/// What a map is called.
pub fn name_of(map: &ColumnMap) -> String {
    if map.name.is_empty() { "a column map".to_owned() } else { map.name.clone() }
}

/// Reads a map from a file.
///
/// # Errors
/// When it cannot be read, or its text is wrong: with the line.
pub fn load(path: &Path) -> anyhow::Result<ColumnMap> {
    let name = path.display();
    let failed = |why: io::Error| {
        user(
            format!("the map {name} could not be read: {why}"),
            "nothing was changed",
            "look whether name and folder are right",
        )
    };
    let length = fs::metadata(path).map_err(failed)?.len();
    if LONGEST_MAP < length {
        return Err(user(
            format!("{name} has {length} bytes: it is no column map"),
            "nothing was changed",
            "name the file of the map, not of the logs",
        ));
    }
    let bytes = fs::read(path).map_err(failed)?;
    let text = String::from_utf8(bytes).map_err(|_| {
        user(format!("the map {name} is not UTF-8"), "nothing was changed", "save it as UTF-8")
    })?;
    parse(&text).map_err(|fault| user(format!("{name}: {fault}"), "nothing was changed", fault.next))
}

fn parse(text: &str) -> Result<ColumnMap, cowpath_import::MapFault> {
    ColumnMap::from_toml(text.strip_prefix('\u{feff}').unwrap_or(text))
}

/// Writes a map into a new file; one that is there stays as it is.
///
/// # Errors
/// When the file is there already, or cannot be written.
pub fn save(path: &Path, text: &str) -> anyhow::Result<()> {
    let name = path.display();
    let failed = |why: io::Error| {
        let next = if why.kind() == io::ErrorKind::AlreadyExists {
            "give it another name, or move that file away"
        } else {
            "look whether the folder is there and you may write in it"
        };
        user(format!("the map could not be written as {name}: {why}"), "what was there stays as it is", next)
    };
    let mut file = fs::File::create_new(path).map_err(failed)?;
    file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).map_err(failed)
}

/// Keeps a map in a farm's folder, where files that fit it find it. Gives back its file.
///
/// # Errors
/// When its text is wrong, one of this name is there already, or it cannot be written.
pub fn keep(farm: &Path, name: &str, text: &str) -> anyhow::Result<PathBuf> {
    let fault = |fault: cowpath_import::MapFault| user(fault.to_string(), "nothing was changed", fault.next);
    parse(text).map_err(fault)?;
    let plain: String = name
        .chars()
        .map(|letter| if letter.is_alphanumeric() || "-_".contains(letter) { letter } else { '-' })
        .take(80)
        .collect();
    let plain = if plain.chars().any(char::is_alphanumeric) { plain } else { "map".to_owned() };
    let folder = farm.join(FOLDER);
    fs::create_dir_all(&folder).map_err(|why| {
        user(
            format!("the folder {} could not be made: {why}", folder.display()),
            "nothing was changed",
            "look whether you may write in the farm's folder",
        )
    })?;
    let path = folder.join(format!("{plain}.toml"));
    save(&path, text)?;
    Ok(path)
}

/// The maps kept in a farm's folder, by file name.
pub fn saved(farm: &Path) -> Vec<PathBuf> {
    let mut maps: Vec<PathBuf> = fs::read_dir(farm.join(FOLDER))
        .map(|entries| entries.filter_map(|entry| Some(entry.ok()?.path())).collect())
        .unwrap_or_default();
    maps.retain(|path| path.extension().is_some_and(|end| end.eq_ignore_ascii_case("toml")));
    maps.sort();
    maps
}

/// The map that reads rows of a file with these header words: the one kept in the farm's folder that has them all, if
/// there is just one for the table, for it may have been mended since; else the one the rows were read with, by its
/// essence. `None` where they were read without one.
pub fn of_rows(farm: &Path, header: &[String], table: &str, essence: &str) -> Option<ColumnMap> {
    let own = parse(essence).ok()?;
    let has = |word: &String| header.iter().any(|own| own.trim().eq_ignore_ascii_case(word.trim()));
    let mut fitting: Vec<ColumnMap> = saved(farm)
        .iter()
        .filter_map(|path| parse(&fs::read_to_string(path).ok()?).ok())
        .filter(|map| map.table.name == table && map.takes.iter().flat_map(|take| &take.from).all(has))
        .collect();
    if fitting.len() == 1 { fitting.pop() } else { Some(own) }
}

/// Which table a file is, and with which map it is read: the one given, none for a plain table, or the one saved map whose
/// header it has.
///
/// # Errors
/// When it is no plain table and no saved map fits, or several do.
pub fn form(path: &Path, farm: &Path, reading: &mut Reading) -> Result<&'static Table, Unreadable> {
    if let Some(map) = &reading.map {
        return Ok(map.table);
    }
    let plain = match cowpath_import::which_table(path, reading) {
        Ok(table) => return Ok(table),
        Err(trouble) => trouble,
    };
    if matches!(plain, Unreadable::Io { .. } | Unreadable::Empty | Unreadable::OtherKind { .. }) {
        return Err(plain);
    }
    let mut fitting: Vec<(PathBuf, ColumnMap)> = Vec::new();
    let mut broken = None;
    for own in saved(farm) {
        let text = fs::read_to_string(&own).map_err(|why| Unreadable::Io { why })?;
        match parse(&text) {
            Ok(map) if cowpath_import::fits(path, &map, reading)? => fitting.push((own, map)),
            Ok(_) => {}
            Err(fault) => broken = Some((own, fault)),
        }
    }
    let named =
        |path: &Path| path.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    match (fitting.len(), broken) {
        (0, None) => Err(plain),
        (0, Some((own, fault))) => Err(Unreadable::BrokenMap { map: named(&own), fault }),
        (1, _) => {
            let table = fitting.first().map(|(_, map)| map.table);
            reading.map = fitting.pop().map(|(_, map)| Arc::new(map));
            table.ok_or(plain)
        }
        _ => Err(Unreadable::SeveralMaps { maps: fitting.iter().map(|(path, _)| named(path)).collect() }),
    }
}

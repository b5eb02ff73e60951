//! What must hold of every simulated herd, whatever its seed.
#![expect(clippy::unwrap_used, reason = "helpers of tests may panic as tests do")]

use std::{collections::BTreeMap, fs, path::Path, sync::OnceLock};

use cowpath_core::tables::{Cell, Destination, Kind, Outcome, Table, table};
use cowpath_herdsim::{Herd, Scenario, SimError, Written, rows::CaseTruth, simulate, write};

fn scenario() -> Scenario {
    Scenario::demo(70, 2, 45, 11)
}

fn herd() -> &'static Herd {
    static HERD: OnceLock<Herd> = OnceLock::new();
    HERD.get_or_init(|| simulate(&scenario()).unwrap())
}

fn written(scenario: &Scenario, folder: &Path) -> Written {
    write(scenario, &folder.join("logs"), Some(&folder.join("truth"))).unwrap()
}

#[test]
fn same_seed_same_bytes_and_another_seed_other_bytes() {
    let folder = tempfile::tempdir().unwrap();
    let small = |seed| Scenario::demo(30, 1, 12, seed);
    for (name, seed) in [("a", 3), ("b", 3), ("c", 4)] {
        written(&small(seed), &folder.path().join(name));
    }
    let read = |name: &str, file: &str| fs::read(folder.path().join(name).join(file)).unwrap();
    for part in ["logs", "truth"] {
        for entry in fs::read_dir(folder.path().join("a").join(part)).unwrap() {
            let file = format!("{part}/{}", entry.unwrap().file_name().to_string_lossy());
            assert_eq!(read("a", &file), read("b", &file), "{file}");
        }
    }
    assert_ne!(read("a", "logs/visits.csv"), read("c", "logs/visits.csv"));
}

#[test]
fn truth_is_written_only_where_it_is_asked_for() {
    let folder = tempfile::tempdir().unwrap();
    let counted = write(&Scenario::demo(20, 1, 5, 1), &folder.path().join("logs"), None).unwrap();
    assert!(counted.truth_rows.is_empty());
    let names: Vec<String> = fs::read_dir(folder.path())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    assert_eq!(names, ["logs"]);
}

/// Every cell of every file: its column is declared, its form and range are those of the declaration.
#[test]
fn every_cell_is_what_its_table_declares() {
    let folder = tempfile::tempdir().unwrap();
    let counted = written(&scenario(), folder.path());
    assert_eq!(counted.rows.len(), 10);
    for (name, rows) in &counted.rows {
        let declared = table(name).unwrap();
        let file = fs::read_to_string(folder.path().join("logs").join(format!("{name}.csv"))).unwrap();
        let mut lines = file.lines();
        let header: Vec<&str> = lines.next().unwrap().split(',').collect();
        assert!(declared.tells.iter().all(|column| header.contains(column)), "{name}");
        let mut keys = std::collections::BTreeSet::new();
        let mut seen = 0;
        for line in lines {
            seen += 1;
            let cells: Vec<&str> = line.split(',').collect();
            assert_eq!(cells.len(), header.len(), "{name}: {line}");
            let mut typed = vec![Cell::Missing; declared.columns.len()];
            for (column, cell) in header.iter().zip(&cells) {
                typed[declared.index(column).unwrap()] = check(declared, column, cell, line);
            }
            assert_eq!((declared.agrees)(&typed), Ok(()), "{line}");
            let key: Vec<&str> = declared
                .key
                .iter()
                .map(|key| header.iter().position(|column| column == key).map_or("", |place| cells[place]))
                .collect();
            assert!(keys.insert(key.join("|")), "{name}: the key comes twice: {line}");
        }
        assert_eq!(seen, *rows, "{name}");
        assert!(0 < seen, "{name} is empty");
    }
}

fn check(declared: &Table, column: &str, cell: &str, line: &str) -> Cell {
    let column = &declared.columns[declared.index(column).unwrap()];
    if cell.is_empty() {
        assert!(!column.required, "{} is missing: {line}", column.name);
        return Cell::Missing;
    }
    match column.kind {
        Kind::Number { low, high, .. } => {
            let figure: f64 = cell.parse().unwrap();
            assert!(
                low <= figure && figure <= high,
                "{} {cell} outside {low} to {high}: {line}",
                column.name
            );
            Cell::Number(figure)
        }
        Kind::Words(words) => {
            assert!(words.contains(&cell), "{} {cell}: {line}", column.name);
            Cell::Text(cell.to_owned())
        }
        Kind::Flag => {
            assert!(cell == "0" || cell == "1", "{} {cell}", column.name);
            Cell::Flag(cell == "1")
        }
        Kind::OfficialId => {
            assert!(cell.len() == 15 && cell.bytes().all(|byte| byte.is_ascii_digit()));
            Cell::Text(cell.to_owned())
        }
        Kind::Time => Cell::Time(cell.parse().unwrap()),
        Kind::Date => Cell::Date(cell.parse().unwrap()),
        Kind::Text => {
            assert!(!cell.contains('"'));
            Cell::Text(cell.to_owned())
        }
    }
}

#[test]
fn times_carry_the_offset_of_their_moment() {
    // The demo ends in winter and begins on the night the clock is set back.
    let folder = tempfile::tempdir().unwrap();
    written(&Scenario::demo(40, 1, 120, 2), folder.path());
    let movement = fs::read_to_string(folder.path().join("logs/movement.csv")).unwrap();
    let froms: Vec<&str> = movement.lines().skip(1).filter_map(|line| line.split(',').nth(1)).collect();
    assert!(froms.first().unwrap().starts_with("2025-11-02T00:00:00-04:00"), "{:?}", froms.first());
    assert!(froms.last().unwrap().starts_with("2026-03-02T"), "{:?}", froms.last());
    assert!(froms.last().unwrap().ends_with("-05:00"));
}

#[test]
fn quarters_add_up_to_the_udder_by_the_meter_s_rounding() {
    for visit in &herd().visits {
        if let Some(milk_kg) = visit.milk_kg {
            let sum_kg: f64 = visit.cups.iter().filter_map(|cup| cup.kg).sum();
            assert!((sum_kg - milk_kg).abs() < 0.006, "{visit:?}");
        }
    }
}

#[test]
fn nobody_is_in_two_places_and_no_box_holds_two_cows() {
    let mut by_cow: BTreeMap<u32, Vec<(i64, i64)>> = BTreeMap::new();
    let mut by_box: BTreeMap<u32, Vec<(i64, i64)>> = BTreeMap::new();
    for visit in &herd().visits {
        assert!(visit.started_s < visit.ended_s);
        assert!(
            visit.attached_s.is_none_or(|at_s| visit.started_s <= at_s && at_s <= visit.ended_s),
            "{visit:?}"
        );
        by_cow.entry(visit.animal).or_default().push((visit.started_s, visit.ended_s));
        by_box.entry(visit.at_box).or_default().push((visit.started_s, visit.ended_s));
    }
    for state in &herd().box_states {
        by_box.entry(state.at_box).or_default().push((state.from_s, state.to_s));
    }
    for spans in by_cow.values_mut().chain(by_box.values_mut()) {
        spans.sort_unstable();
        for pair in spans.windows(2) {
            assert!(pair[0].1 <= pair[1].0, "{pair:?}");
        }
    }
}

#[test]
fn the_tank_holds_what_was_milked_into_it() {
    // The lorry took what was milked; the boxes' meters read it with their own errors (bias under 2 %, faults more).
    let herd = herd();
    let mut seen = 0;
    for pair in herd.pickups.windows(2) {
        let (before_s, pickup) = (pair[0].collected_s, &pair[1]);
        let into = herd.visits.iter().filter(|visit| {
            visit.destination == Some(Destination::Tank)
                && before_s < visit.ended_s
                && visit.ended_s <= pickup.collected_s
        });
        let true_kg: f64 = into.map(|visit| visit.true_milk_kg).sum();
        let ratio = pickup.milk_kg / true_kg;
        assert!((0.99..1.005).contains(&ratio), "{pickup:?} {true_kg}");
        seen += 1;
    }
    assert!(20 <= seen);
}

#[test]
fn milk_of_treated_and_fresh_cows_is_held() {
    let herd = herd();
    let mut held = 0;
    for event in &herd.events {
        let until_s = match event.kind {
            "treated" => event.until_s,
            "calved" => Some(event.at_s + 4 * 86_400),
            _ => None,
        };
        for visit in herd.visits.iter().filter(|visit| {
            visit.animal == event.animal
                && event.at_s < visit.started_s
                && until_s.is_some_and(|until_s| visit.started_s < until_s)
        }) {
            if visit.milk_kg.is_some() {
                assert_eq!(visit.destination, Some(Destination::Held), "{event:?} {visit:?}");
                held += 1;
            }
        }
    }
    assert!(50 < held, "{held}");
}

#[test]
fn what_is_not_measured_is_empty() {
    for visit in &herd().visits {
        let milking = matches!(visit.outcome, Outcome::Milked | Outcome::Incomplete | Outcome::Failed);
        assert_eq!(visit.milk_kg.is_some(), milking, "{visit:?}");
        assert!(milking || visit.cups.iter().all(|cup| cup.ms_cm.is_none()));
        assert_eq!(visit.destination.is_some(), milking);
    }
}

#[test]
fn cases_stand_in_order_and_within_the_span() {
    let herd = herd();
    let (first_s, last_s) = (herd.movement[0].from_s, herd.visits.last().unwrap().ended_s);
    let ordered = |case: &CaseTruth| {
        case.began_s <= case.first_sign_s
            && case.noticed_s.is_none_or(|at_s| case.first_sign_s <= at_s)
            && case.treated_s.is_none_or(|at_s| case.noticed_s.is_some_and(|noticed_s| noticed_s <= at_s))
            && case.ended_s.is_none_or(|at_s| case.began_s < at_s)
    };
    assert!(20 < herd.cases.len());
    for case in &herd.cases {
        assert!(ordered(case), "{case:?}");
        assert!(
            case.ended_s.is_none_or(|at_s| first_s < at_s) && case.first_sign_s <= last_s + 3600,
            "{case:?}"
        );
        assert_eq!(case.kind == "udder", case.quarter.is_some());
        if case.kind != "heat" {
            assert!((0.0..=1.0).contains(&case.severity));
        }
    }
}

#[test]
fn farms_without_sensors_have_no_such_columns() {
    let folder = tempfile::tempdir().unwrap();
    let mut bare = Scenario::demo(20, 1, 4, 5);
    bare.sensors.conductivity = false;
    bare.sensors.composition = false;
    bare.sensors.movement = false;
    let counted = write(&bare, folder.path(), None).unwrap();
    let header = fs::read_to_string(folder.path().join("visits.csv")).unwrap();
    let header = header.lines().next().unwrap();
    assert!(!header.contains("ms_cm") && !header.contains("fat_pct") && header.contains("lf_kg"), "{header}");
    assert_eq!(counted.rows["movement"], 0);
}

#[test]
fn nothing_can_be_made_of_no_cows() {
    assert!(matches!(simulate(&Scenario::demo(0, 1, 3, 1)), Err(SimError::Empty { .. })));
}

/// A clock that jumps gives rows a reader must refuse: a cow in two boxes at once, a box with two cows.
#[test]
fn jumped_clocks_stand_in_the_truth_and_show_in_the_logs() {
    let plain = Scenario::demo(60, 2, 60, 3);
    let mut jumping = plain.clone();
    jumping.clock_jumps = true;
    let (plain, jumped) = (simulate(&plain).unwrap(), simulate(&jumping).unwrap());
    assert_eq!(plain.visits.len(), jumped.visits.len());
    let jumps: Vec<_> = jumped.happenings.iter().filter(|happening| happening.kind == "clock-jump").collect();
    assert!(!jumps.is_empty());
    let mut moved = 0;
    for (before, after) in plain.visits.iter().zip(&jumped.visits) {
        let ahead_s = after.started_s - before.started_s;
        let told = jumps.iter().find(|jump| {
            jump.at_box == Some(before.at_box)
                && jump.from_s <= before.started_s
                && before.started_s < jump.to_s
        });
        assert_eq!(told.and_then(|jump| jump.size).unwrap_or(0.0), ahead_s as f64);
        moved += usize::from(ahead_s != 0);
    }
    assert!(10 < moved, "{moved}");
}

/// What [`Scenario::DEMO_SEED`] promises.
#[test]
fn the_demo_ends_on_a_morning_with_something_to_find() {
    let herd = simulate(&Scenario::demo(120, 2, 120, Scenario::DEMO_SEED)).unwrap();
    let end_s = herd.visits.last().unwrap().ended_s;
    let open = |case: &&CaseTruth| {
        case.kind == "udder" && case.clinical && case.noticed_s.is_none() && case.ended_s.is_none()
    };
    assert!(herd.cases.iter().filter(open).any(|case| end_s - 36 * 3600 < case.first_sign_s));
    assert!(herd.box_faults.iter().any(|fault| fault.kind == "milk-meter" && end_s < fault.to_s));
}

//! Whatever the bytes are: nothing panics, nothing is lost, and what cannot be held is refused with its reason.
#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests")]

mod ade_common;
mod tries;

use ade_common::{Kept, read, reading, try_read};
use cowpath_import::IssueKind;
use cowpath_import::ade::{self, Counts};
use proptest::prelude::*;
use serde_json::{Value, json};

const GOOD: &str = r#"{"resourceType":"icarMilkingDryOffEventResource","animal":{"scheme":"h","id":"5"},"eventDateTime":"2026-03-02T06:00:00Z"}"#;

/// Resources are handed on, refused or passed over, and issues of refused ones are as many.
fn adds_up(kept: &Kept) {
    let Counts { resources, handed_on, refused, passed_over } = kept.counts;
    assert_eq!(resources, handed_on + refused + passed_over);
    assert_eq!(handed_on, kept.documents.len() as u64);
    let issues = kept.issues.iter().filter(|(_, issue)| issue.kind == IssueKind::RowRefused).count();
    assert_eq!(refused, issues as u64);
}

#[test]
fn ten_thousand_levels_are_refused_in_words() {
    let deep = format!("{}{}", "[".repeat(10_000), "]".repeat(10_000));
    let nested = format!("{}1{}", r#"{"a":"#.repeat(10_000), "}".repeat(10_000));
    for text in [
        format!("[{GOOD},{deep},{GOOD}]"),
        format!("{GOOD}\n{nested}\n{GOOD}\n"),
        format!(r#"{{"member":[{GOOD},{{"resourceType":"icarWeightEventResource","x":{deep}}},{GOOD}]}}"#),
    ] {
        let kept = read(&text);
        assert_eq!(kept.rows().len(), 2);
        let (_, reason) = kept.refused();
        assert!(reason.starts_with("brackets stand 1000"), "{reason}");
        adds_up(&kept);
    }
    let alone = format!(r#"{{"resourceType":"icarWeightEventResource","x":{deep}}}"#);
    assert!(try_read(alone.as_bytes()).is_err() || read(&alone).counts.refused == 1);
}

#[test]
fn a_property_named_twice_is_refused() {
    let twice = GOOD.replacen('{', r#"{"eventDateTime":"2026-03-01T06:00:00Z","#, 1);
    let deep = GOOD.replacen(r#""id":"5""#, r#""id":"5","id":"6""#, 1);
    let escaped = GOOD.replacen('{', r#"{"\u0065ventDateTime":"2026-03-01T06:00:00Z","#, 1);
    for bad in [twice, deep, escaped] {
        let kept = read(&format!("[{GOOD},{bad}]"));
        assert_eq!(kept.rows().len(), 1);
        assert!(
            kept.refused().1.contains("is named twice in one object: nobody can tell"),
            "{:?}",
            kept.refused()
        );
    }
    let many: Vec<String> = (0..60).map(|at| format!("\"p{at}\":1")).collect();
    let many = GOOD.replacen('{', &format!("{{{},\"p7\":2,", many.join(",")), 1);
    assert!(read(&format!("[{GOOD},{many}]")).refused().1.contains("`p7` is named twice"));
}

#[test]
fn a_broken_one_spoils_no_other() {
    let kept = read(&format!("{GOOD}\n{}\n{GOOD}\n", &GOOD[..60]));
    assert_eq!(kept.rows().len(), 2);
    assert!(kept.refused().1.starts_with("its line ends in the middle of it"));
    for bad in [r#"{"a":}"#, "3", "\"x\"", "{}", "[1]", r#"{"resourceType":5}"#, r#"{"a" 1}"#] {
        let kept = read(&format!("[{GOOD},{bad},{GOOD}]"));
        assert_eq!((kept.rows().len(), kept.counts.refused), (2, 1), "{bad}");
        adds_up(&kept);
    }
}

#[test]
fn a_file_cut_short_gives_what_stands_before() {
    let whole = format!(r#"{{"view":{{}},"member":[{GOOD},{GOOD}]}}"#);
    for end in 0..whole.len() {
        match try_read(&whole.as_bytes()[..end]) {
            Ok(kept) => {
                adds_up(&kept);
                if kept.counts.handed_on == 2 || kept.counts.refused == 1 {
                    continue;
                }
                assert!(
                    kept.said().iter().any(|own| own.contains("cut short") || own.contains("no resource")),
                    "{end}: {:?}",
                    kept.said()
                );
            }
            Err(why) => panic!("{end}: {why}"),
        }
    }
}

#[test]
fn a_huge_resource_is_refused_and_the_next_one_read() {
    let huge = GOOD.replacen('{', &format!("{{\"x\":\"{}\",", "y".repeat(3 << 20)), 1);
    let kept = read(&format!("[{GOOD},{huge},{GOOD}]"));
    assert_eq!(kept.rows().len(), 2);
    assert!(kept.refused().1.contains("more than the 1048576 that a resource may have"));
    assert!(kept.issues[0].1.raw.as_ref().unwrap().len() <= 1 << 20);
}

fn tree() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<f64>().prop_map(|figure| json!(figure)),
        prop_oneof![
            "[a-zA-Z0-9:.+-]{0,12}",
            Just("KGM".to_owned()),
            Just("2026-03-02T06:00:00Z".to_owned()),
            ".{0,6}"
        ]
        .prop_map(Value::from),
    ];
    leaf.prop_recursive(5, 40, 6, |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..5).prop_map(Value::from),
            prop::collection::btree_map(name(), inner, 0..8)
                .prop_map(|map| Value::Object(map.into_iter().collect())),
        ]
    })
}

fn name() -> impl Strategy<Value = String> {
    const KNOWN: &[&str] = &[
        "animal",
        "scheme",
        "id",
        "meta",
        "source",
        "sourceId",
        "modified",
        "isDeleted",
        "eventDateTime",
        "view",
        "member",
        "milkingStartingDateTime",
        "milkingMilkWeight",
        "unitCode",
        "value",
        "quarterMilkings",
        "icarQuarterId",
        "milkCharacteristics",
        "characteristic",
        "weight",
        "measurement",
        "withdrawals",
        "diagnoses",
        "positions",
        "consumedFeed",
        "feedVisitDuration",
        "feedingStartingDateTime",
        "animalDetail",
        "identifier",
        "managementTag",
        "alternativeIdentifiers",
        "milkingBoxNumber",
        "resourceType",
    ];
    prop_oneof![4 => prop::sample::select(KNOWN).prop_map(str::to_owned), 1 => "[a-z]{1,6}"]
}

fn kind() -> impl Strategy<Value = &'static str> {
    prop::sample::select(
        &[
            "icarMilkingVisitEventResource",
            "icarFeedIntakeEventResource",
            "icarWeightEventResource",
            "icarReproHeatEventResource",
            "icarReproInseminationEventResource",
            "icarReproPregnancyCheckEventResource",
            "icarReproParturitionEventResource",
            "icarMilkingDryOffEventResource",
            "icarTestDayResultEventResource",
            "icarDiagnosisEventResource",
            "icarTreatmentEventResource",
            "icarWithdrawalEventResource",
            "icarMovementArrivalEventResource",
            "icarMovementDepartureEventResource",
            "icarMovementDeathEventResource",
            "icarAnimalCoreResource",
            "icarDeviceResource",
        ][..],
    )
}

/// A resource of a known kind with an animal and a time, and whatever else.
fn likely() -> impl Strategy<Value = Value> {
    (kind(), prop::collection::btree_map(name(), tree(), 0..10)).prop_map(|(kind, rest)| {
        let mut own = json!({
            "animal": {"scheme": "h", "id": "5"}, "identifier": {"scheme": "h", "id": "5"},
            "eventDateTime": "2026-03-02T06:00:00Z", "milkingStartingDateTime": "2026-03-02T06:00:00Z",
            "milkingMilkWeight": {"unitCode": "KGM", "value": 9}, "milkingBoxNumber": "1",
            "feedingStartingDateTime": "2026-03-02T06:00:00Z", "feedVisitDuration": {"unitCode": "SEC", "value": 9}
        });
        for (name, value) in rest {
            own[name] = value;
        }
        own["resourceType"] = json!(kind);
        own
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(tries::tries(400)))]

    #[test]
    fn any_trees_add_up(all in prop::collection::vec(prop_oneof![3 => likely(), 1 => tree()], 0..8), form in 0..3) {
        let count = all.len() as u64;
        let text = match form {
            0 => json!(all).to_string(),
            1 => json!({"view": {"totalPages": 1}, "member": all}).to_string(),
            _ => all.iter().filter(|own| own.is_object()).map(|own| format!("{own}\n")).collect(),
        };
        if let Ok(kept) = try_read(text.as_bytes()) {
            adds_up(&kept);
            if form < 2 {
                // A page without resources among them is none.
                prop_assert!(kept.counts.resources <= count);
                let pages = all.iter().filter(|own| own.get("resourceType").is_none_or(|kind| kind.as_str().is_none_or(|kind| kind.trim().is_empty())) && own.get("view").is_some_and(Value::is_object)).count() as u64;
                prop_assert!(count <= kept.counts.resources + pages);
            }
            // Read again it is the same.
            prop_assert_eq!(try_read(text.as_bytes()).unwrap().rows(), kept.rows());
        }
    }

    #[test]
    fn any_bytes_are_borne(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = try_read(&bytes);
    }

    #[test]
    fn a_wounded_page_is_borne(at in 0_usize..400, byte in any::<u8>(), cut in any::<bool>()) {
        let mut bytes = format!(r#"{{"view":{{"totalPages":2,"currentPage":1}},"member":[{GOOD},{GOOD}]}}"#).into_bytes();
        let at = at % bytes.len();
        if cut { bytes.truncate(at) } else { bytes[at] = byte }
        if let Ok(kept) = try_read(&bytes) {
            adds_up(&kept);
        }
    }
}

#[test]
fn the_first_character_tells_json() {
    let folder = tempfile::tempdir().unwrap();
    for (name, text, json) in
        [("a", "  \n{", true), ("b", "[", true), ("c", "animal,at,kind\n", false), ("d", "", false)]
    {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        assert_eq!(ade::is_json(&path, &reading()).unwrap(), json);
    }
}

//! Who is who, what happened to her, and names of documents: the rest of the standard's traps.
#![allow(clippy::unwrap_used)]

mod ade_common;

use ade_common::{Kept, read, reading, try_read_with};
use cowpath_import::ade::Herd;
use serde_json::{Value, json};

fn event(kind: &str, change: &[(&str, Value)]) -> Kept {
    read(&resource(kind, change).to_string())
}

fn resource(kind: &str, change: &[(&str, Value)]) -> Value {
    let mut own = json!({
        "resourceType": kind,
        "eventDateTime": "2026-03-02T06:00:00Z",
        "animal": {"scheme": "std.iso.11785", "id": "999000000000214"}
    });
    for (name, value) in change {
        own[*name] = value.clone();
    }
    own
}

fn said(kept: &Kept, words: &str) -> bool {
    kept.said().iter().any(|own| own.contains(words))
}

fn animal(change: &[(&str, Value)]) -> Value {
    let mut own = json!({
        "resourceType": "icarAnimalCoreResource",
        "identifier": {"scheme": "std.iso.11785", "id": "999000000000214"},
        "specie": "Cattle",
        "gender": "Female"
    });
    for (name, value) in change {
        own[*name] = value.clone();
    }
    own
}

#[test]
fn two_schemes_are_one_cow_wherever_the_file_says_so() {
    let heat = |scheme: &str, id: &str| {
        resource("icarReproHeatEventResource", &[("animal", json!({"scheme": scheme, "id": id}))])
    };
    let who = animal(&[
        ("managementTag", json!("214")),
        ("alternativeIdentifiers", json!([{"scheme": "example.herdbook", "id": "HB-9"}])),
    ]);
    for order in [[0, 1, 2], [1, 0, 2], [2, 1, 0]] {
        let all = [who.clone(), heat("std.iso.11785", "999000000000214"), heat("example.herdbook", "HB-9")];
        let kept = read(&json!(order.map(|place: usize| all[place].clone())).to_string());
        assert_eq!(kept.rows().len(), 3);
        assert!(kept.rows().iter().all(|row| row.contains(" animal=214 ")), "{:?}", kept.rows());
        assert_eq!(kept.aliases.len(), 2);
    }
    assert_eq!(
        event("icarReproHeatEventResource", &[]).cell("animal"),
        "999000000000214",
        "not known: as text"
    );
    let bad = json!({"scheme": "std.iso.11785", "id": "214"});
    assert_eq!(event("icarReproHeatEventResource", &[("animal", bad)]).refused().0, "animal");
    let no_scheme = json!({"id": "214"});
    assert_eq!(event("icarReproHeatEventResource", &[("animal", no_scheme)]).refused().0, "animal.scheme");
}

#[test]
fn a_number_on_record_goes_before_a_tag() {
    let mut herd = Herd::default();
    herd.add_number("77");
    herd.add_official("77", "999000000000214");
    herd.add_number("5");
    herd.add_official("5", "999000000000099");
    let text = json!([animal(&[("managementTag", json!("214"))])]).to_string();
    let kept = try_read_with(text.as_bytes(), &reading(), herd.clone()).unwrap();
    assert_eq!(kept.cell("animal"), "77");
    // The tag of another cow.
    let own = json!({"scheme": "std.iso.11785", "id": "999000000000333"});
    let text = json!([animal(&[("identifier", own), ("managementTag", json!("5"))])]).to_string();
    let kept = try_read_with(text.as_bytes(), &reading(), herd).unwrap();
    assert_eq!(kept.cell("animal"), "999000000000333");
    assert!(said(&kept, "other cows") || said(&kept, "another cow"), "{:?}", kept.said());
}

#[test]
fn another_identifier_that_reads_like_a_herd_number_is_none() {
    let mut herd = Herd::default();
    herd.add_number("12");
    let transponder = json!([{"scheme": "example.transponder", "id": "12"}]);
    let text = json!([animal(&[("alternativeIdentifiers", transponder)])]).to_string();
    let kept = try_read_with(text.as_bytes(), &reading(), herd.clone()).unwrap();
    assert_eq!(kept.cell("animal"), "999000000000214", "two cows must not become one");
    // What stood for itself in an earlier file goes on to do so.
    herd.add_number("HB-9");
    herd.add_alias("example.herdbook", "HB-9", "HB-9");
    let book = json!([{"scheme": "example.herdbook", "id": "HB-9"}]);
    let text =
        json!([animal(&[("alternativeIdentifiers", book), ("managementTag", json!("214"))])]).to_string();
    let kept = try_read_with(text.as_bytes(), &reading(), herd).unwrap();
    assert_eq!(kept.cell("animal"), "HB-9", "one cow must not become two");
}

#[test]
fn only_cattle_are_taken() {
    let kept = read(&animal(&[("specie", json!("Sheep"))]).to_string());
    assert_eq!((kept.rows().len(), kept.counts.passed_over), (0, 1));
    assert!(said(&kept, "no cattle"));
}

#[test]
fn an_estimated_weight_is_told_from_a_scale() {
    let weight = |own: Value| event("icarWeightEventResource", &[("weight", own)]);
    assert_eq!(weight(json!({"measurement": 640})).cell("value"), "640", "absent unit is kilograms");
    assert_eq!(weight(json!({"measurement": 640})).cell("detail"), "");
    for method in ["GroupAverage", "Predicted", "Girth"] {
        let kept = weight(json!({"measurement": 640, "method": method}));
        assert_eq!(kept.cell("detail"), format!("estimated: {method}"));
        assert!(said(&kept, "not read off a scale"));
    }
    assert_eq!(event("icarWeightEventResource", &[]).refused().0, "weight");
    assert_eq!(weight(json!({"measurement": 640, "units": "STI"})).refused().0, "weight.units");
    assert_eq!(weight(json!({"measurement": 64000, "units": "KGM"})).refused().0, "weight.measurement");
}

#[test]
fn heat_is_an_opinion_and_its_onset_another_time() {
    let kept =
        event("icarReproHeatEventResource", &[("commencementDateTime", json!("2026-03-01T21:00:00Z"))]);
    assert_eq!(kept.cell("at"), "2026-03-02T06:00:00Z");
    assert!(kept.cell("note").contains("reported by another system"));
    assert!(kept.cell("note").contains("onset 2026-03-01T21:00:00Z"));
    assert!(said(&kept, "not what a person saw"));
}

#[test]
fn services_checks_and_calvings() {
    let bull = event(
        "icarReproInseminationEventResource",
        &[("inseminationType", json!("RunWithBull")), ("eventEndDateTime", json!("2026-03-20T06:00:00Z"))],
    );
    assert_eq!(bull.cell("until"), "", "that is of treatments");
    assert_eq!(bull.cell("note"), "until 2026-03-20T06:00:00Z");
    assert_eq!(event("icarReproInseminationEventResource", &[]).refused().0, "inseminationType");
    let check =
        |change: &[(&str, Value)]| event("icarReproPregnancyCheckEventResource", change).cell("detail");
    assert_eq!(check(&[]), "unknown", "not said is not empty");
    assert_eq!(check(&[("result", json!("Unknown"))]), "unknown");
    assert_eq!(check(&[("result", json!("Multiple"))]), "multiple");
    let calved = event("icarReproParturitionEventResource", &[("damParity", json!(2))]);
    assert_eq!((calved.cell("kind"), calved.cell("value")), ("calved".into(), "2".into()));
    let lost = event("icarReproAbortionEventResource", &[]);
    assert!(lost.rows().is_empty() && said(&lost, "ReproAbortionEvent"));
}

#[test]
fn a_test_day_is_the_day_its_source_means() {
    let day = |at: &str| event("icarTestDayResultEventResource", &[("eventDateTime", json!(at))]).cell("on");
    assert_eq!(day("2026-02-18T00:00:00Z"), "2026-02-18", "a midnight is a day written as an instant");
    assert_eq!(day("2026-02-18T03:00:00Z"), "2026-02-17", "in the farm's zone");
    let sick = event("icarTestDayResultEventResource", &[("testDayCode", json!("Sick"))]);
    assert_eq!(sick.cell("milk_kg"), "");
    assert!(said(&sick, "unknown, not zero"));
}

#[test]
fn milk_is_held_unless_its_end_is_known() {
    let treated = |withdrawals: Value| event("icarTreatmentEventResource", &[("withdrawals", withdrawals)]);
    let end = |day: &str| json!(format!("2026-03-{day}T06:00:00Z"));
    let two = treated(json!([
        {"productType": "Milk", "endDate": end("05")},
        {"productType": "Milk", "endDate": end("09")},
        {"productType": "Meat", "endDate": end("30")}
    ]));
    assert_eq!(two.cell("until"), "2026-03-09T06:00:00Z", "the latest of milk");
    for open in
        [json!([]), json!([{"productType": "Meat", "endDate": end("30")}]), json!([{"productType": "Milk"}])]
    {
        let kept = treated(open);
        assert_eq!(kept.cell("until"), "");
        assert!(said(&kept, "held without an end"));
    }
    let open = treated(json!([{"productType": "Milk"}, {"productType": "Milk", "endDate": end("05")}]));
    assert_eq!(open.cell("until"), "", "one of two has no end");
    let meat = event("icarWithdrawalEventResource", &[("productType", json!("Meat"))]);
    assert!(meat.rows().is_empty() && said(&meat, "not of milk"));
    let medicine = event("icarTreatmentEventResource", &[("medicine", json!({"name": "product 1"}))]);
    assert_eq!(medicine.cell("detail"), "product 1");
    assert!(said(&medicine, "read all the same"));
}

#[test]
fn positions_of_the_udder_are_quarters() {
    let own = json!([
        {"name": "one", "positions": [{"position": "UdderFrontRight"}, {"position": "UdderRearLeft"}]},
        {"diagnosisCode": {"scheme": "a", "id": "C-4"}, "positions": [{"position": "LegsFrontLeft"}], "site": "UdderRearLeft"}
    ]);
    let rows = event("icarDiagnosisEventResource", &[("diagnoses", own)]).rows();
    assert_eq!(rows.len(), 3);
    assert!(
        rows[0].contains("quarter=LR detail=one") && rows[1].contains("quarter=RF detail=one"),
        "{rows:?}"
    );
    assert!(rows[2].contains("detail=C-4") && rows[2].contains("at LegsFrontLeft"), "{rows:?}");
    assert!(!rows[2].contains("quarter="), "the site is free text");
}

#[test]
fn a_document_is_known_by_its_source() {
    let origin =
        |change: &[(&str, Value)]| event("icarMilkingDryOffEventResource", change).documents.remove(0).origin;
    let meta = |own: Value| origin(&[("meta", own), ("id", json!("7"))]).unwrap();
    let full = meta(json!({"source": "a.b", "sourceId": "9", "modified": "2026-03-02T06:00:00Z"}));
    assert_eq!((full.source.as_str(), full.id.as_str(), full.deleted), ("a.b", "9", false));
    assert!(full.modified.is_some());
    let by_id = origin(&[("id", json!("7")), ("location", json!({"scheme": "s", "id": "L"}))]).unwrap();
    assert_eq!((by_id.source.as_str(), by_id.id.as_str()), ("MilkingDryOffEvent\u{1f}s\u{1f}L", "7"));
    assert_eq!(origin(&[]), None);
    let gone = json!({"source": "a.b", "modified": "2026-03-02T06:00:00Z", "isDeleted": true});
    assert_eq!(event("icarMilkingDryOffEventResource", &[("meta", gone)]).refused().0, "meta.isDeleted");
}

#[test]
fn who_arrives_brings_her_lactation() {
    let kept = event(
        "icarMovementArrivalEventResource",
        &[("animalState", json!({"currentLactationParity": 2, "lastCalvingDate": "2026-01-22"}))],
    );
    let rows = kept.rows();
    assert!(rows[0].contains("parity=2 calved_on=2026-01-22"), "{rows:?}");
    assert!(rows[1].contains("kind=moved") && !rows[1].contains("detail="), "no pen is said: {rows:?}");
    assert!(said(&kept, "held until a person clears"));
}

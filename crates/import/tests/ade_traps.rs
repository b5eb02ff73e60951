//! The traps of the exchange standard, one by one.
#![allow(clippy::unwrap_used)]

mod ade_common;

use ade_common::{Kept, read, reading, try_read, try_read_with};
use cowpath_import::Unreadable;
use cowpath_import::ade::Herd;
use serde_json::{Value, json};

fn visit(change: &[(&str, Value)]) -> Kept {
    read(&resource("icarMilkingVisitEventResource", VISIT, change))
}

const VISIT: &str = r#"{"milkingStartingDateTime":"2026-03-02T04:41:10Z","milkingMilkWeight":{"unitCode":"KGM","value":11.8},
 "milkingVisitDuration":{"unitCode":"SEC","value":400},"milkingBoxNumber":"1"}"#;
const EVENT: &str = r#"{"eventDateTime":"2026-03-02T06:00:00Z"}"#;

/// A resource with properties set over its usual ones; `null` takes one out.
fn resource(kind: &str, usual: &str, change: &[(&str, Value)]) -> String {
    let mut own: Value = serde_json::from_str(usual).unwrap();
    own["resourceType"] = json!(kind);
    own["animal"] = json!({"scheme": "std.iso.11785", "id": "999000000000214"});
    for (name, value) in change {
        if value.is_null() {
            own.as_object_mut().unwrap().remove(*name);
        } else {
            own[*name] = value.clone();
        }
    }
    own.to_string()
}

fn event(kind: &str, change: &[(&str, Value)]) -> Kept {
    read(&resource(kind, EVENT, change))
}

fn said(kept: &Kept, words: &str) -> bool {
    kept.said().iter().any(|own| own.contains(words))
}

#[test]
fn a_kind_has_many_spellings() {
    for kind in [
        "icarReproInseminationEventResource",
        "icarReproInsemonationEventResource",
        "ReproInseminationEvent",
        "icar:ReproInsemonationEvent",
        "http://data.adewg.icar.org/core/ReproInsemonationEvent",
    ] {
        let kept = event(kind, &[("inseminationType", json!("Insemination"))]);
        assert_eq!(kept.cell("kind"), "inseminated", "{kind}");
    }
    for kind in
        ["icarTestDayResultEventResource", "icarTestDayResultResource", "TestDayResult", "icar:TestDayResult"]
    {
        let kept = event(kind, &[]);
        assert_eq!(kept.cell("on"), "2026-03-02", "{kind}");
    }
    assert_eq!(visit(&[("resourceType", json!("icar:MilkingVisitEvent"))]).cell("box"), "1");
}

#[test]
fn a_page_may_be_empty_or_one_of_several() {
    for page in [r#"{"view":{"totalItems":0}}"#, "[]", r#"{"view":{},"member":[]}"#] {
        let kept = try_read(page.as_bytes());
        // A page without `member` looks like a resource that does not say what it is, unless it has a view.
        let kept = kept.unwrap();
        assert!(kept.rows().is_empty() && kept.counts.refused == 0, "{page}: {kept:?}");
    }
    let page = |view: &str| {
        format!(r#"{{"view":{view},"member":[{}]}}"#, resource("icarMilkingVisitEventResource", VISIT, &[]))
    };
    let kept = read(&page(r#"{"currentPage":1,"totalPages":3,"next":"https://example.invalid/2"}"#));
    assert!(said(&kept, "this is page 1 of 3; the others are not fetched"), "{:?}", kept.said());
    assert!(!said(&read(&page(r#"{"currentPage":3,"totalPages":3}"#)), "page"));
}

#[test]
fn any_offset_is_read_and_none_is_refused() {
    for (text, at) in [
        ("2026-03-02T05:41:10+01:00", "2026-03-02T04:41:10Z"),
        ("2026-03-01T23:41:10.250-05:00", "2026-03-02T04:41:10.25Z"),
        ("2026-03-02t04:41:10z", "2026-03-02T04:41:10Z"),
    ] {
        assert_eq!(visit(&[("milkingStartingDateTime", json!(text))]).cell("started_at"), at);
    }
    for text in [
        "2026-03-02T04:41:10",
        "2026-03-02",
        "2026-03-02T04:41Z",
        "2026-02-30T04:41:10Z",
        "2026-03-02 04:41:10Z",
        "2026-03-02T04:41:10+0100",
        "1970-01-01T00:00:00Z",
        "2027-01-01T00:00:00Z",
        "soon",
    ] {
        let kept = visit(&[("milkingStartingDateTime", json!(text))]);
        assert_eq!(kept.refused().0, "milkingStartingDateTime", "{text}");
    }
}

#[test]
fn null_is_absent_and_unknown_properties_are_said_once() {
    let one = resource(
        "icarMilkingVisitEventResource",
        &VISIT.replacen('{', r#"{"milkingComplete":null,"mystery":{"deep":[1,2]},"quarterMilkings":[{"icarQuarterId":"LF","xposition":3,"yposition":null}],"#, 1),
        &[],
    );
    let kept = read(&format!("[{one},{one},{one}]"));
    assert_eq!(kept.rows().len(), 3);
    let unused: Vec<String> = kept.said().into_iter().filter(|own| own.contains("not used")).collect();
    assert_eq!(
        unused,
        [
            "mystery: not used; it stands there 3 times",
            "quarterMilkings.xposition: not used; it stands there 3 times"
        ]
    );
    assert!(said(&kept, "3 visits in a form that has no word for"), "{:?}", kept.said());
}

#[test]
fn a_duration_names_its_unit_or_is_not_used() {
    let with = |unit: Value| visit(&[("milkingVisitDuration", unit)]);
    assert_eq!(with(json!({"unitCode": "MIN", "value": 7.5})).cell("ended_at"), "2026-03-02T04:48:40Z");
    let (property, reason) = with(json!({"value": 400})).refused();
    assert_eq!(property, "milkingVisitDuration.unitCode");
    assert!(reason.contains("not guessed at"), "{reason}");
    assert_eq!(with(json!({"unitCode": "HUR", "value": 1})).refused().0, "milkingVisitDuration.unitCode");
    assert_eq!(with(json!({"unitCode": "SEC", "value": -5})).refused().0, "milkingVisitDuration");
    assert_eq!(with(json!(400)).refused().0, "milkingVisitDuration");
}

#[test]
fn feed_comes_in_every_unit_of_mass() {
    let meal = |feeds: Value| {
        event(
            "icarFeedIntakeEventResource",
            &[
                ("feedingStartingDateTime", json!("2026-03-02T05:00:00Z")),
                ("feedVisitDuration", json!({"unitCode": "MIN", "value": 5})),
                ("consumedFeed", feeds),
            ],
        )
    };
    for (code, value, kg) in [
        ("KGM", 1.5, 1.5),
        ("GRM", 1500.0, 1.5),
        ("LBR", 2.0, 0.907_184_74),
        ("PN", 2.0, 0.907_184_74),
        ("TNE", 0.001, 1.0),
        ("MC", 1e9, 1.0),
        ("MGM", 1e6, 1.0),
        ("ONZ", 16.0, 0.453_592_37),
    ] {
        let kept = meal(
            json!([{"feedId": {"scheme": "a", "id": "b"}, "feedConsumption": {"unitCode": code, "value": value}}]),
        );
        let eaten = kept.documents[0].meal.as_ref().unwrap().eaten_kg.unwrap();
        assert!((eaten - kg).abs() < 1e-12, "{code}: {eaten}");
    }
    let two = meal(json!([
        {"feedId": {"scheme": "a", "id": "b"}, "entitlement": {"unitCode": "KGM", "value": 1.0}, "dryMatterPercentage": 88},
        {"feedId": {"scheme": "a", "id": "c"}, "entitlement": {"unitCode": "KGM", "value": 0.5}}
    ]));
    let own = two.documents[0].meal.as_ref().unwrap();
    assert_eq!(
        (own.offered_kg, own.eaten_kg),
        (Some(1.5), None),
        "as fed, over all feeds; not eaten is not zero"
    );
    assert!(said(&two, "for this visit or left of the day"));
    let none = meal(json!([{"feedId": {"scheme": "a", "id": "b"}, "feedConsumption": {"value": 1}}]));
    assert_eq!(none.refused().0, "feedConsumption.unitCode");
    let no_unit = event(
        "icarFeedIntakeEventResource",
        &[
            ("feedingStartingDateTime", json!("2026-03-02T05:00:00Z")),
            ("feedVisitDuration", json!({"value": 5})),
        ],
    );
    assert_eq!(no_unit.refused().0, "feedVisitDuration.unitCode");
}

#[test]
fn characteristics_are_text_each_in_its_unit() {
    let with = |name: &str, value: &str, unit: Option<&str>| {
        let mut own = json!({"characteristic": name, "value": value});
        if let Some(unit) = unit {
            own["unit"] = json!(unit);
        }
        visit(&[("milkCharacteristics", json!([own]))])
    };
    assert_eq!(with("scc", "96", None).cell("scc_k"), "96");
    assert_eq!(
        with("Temperature", "101.48", Some("FAH")).cell("milk_c").parse::<f64>().unwrap().round(),
        39.0
    );
    assert_eq!(with("TEMPERATURE", "38.6", None).cell("milk_c"), "38.6");
    assert_eq!(with("WEIGHT", "640", None).cell("weight_kg"), "640");
    assert_eq!(with("BLOOD", "12", Some("59")).cell("blood_ppm"), "12");
    let seen = with("BLOOD", "true", None);
    assert_eq!(seen.cell("blood_ppm"), "", "seen is not measured");
    assert!(said(&seen, "saw blood"));
    assert_eq!(with("BLOOD", "12", None).refused().0, "milkCharacteristics.BLOOD");
    for bad in ["4,12", "", "NaN", "about 4"] {
        assert_eq!(with("FAT", bad, None).refused().0, "milkCharacteristics.FAT", "{bad}");
    }
    assert_eq!(with("FAT", "4.1", Some("GRM")).refused().0, "milkCharacteristics.FAT.unit");
    assert_eq!(with("FAT", "41", None).refused().1, "is outside 0 to 20 (`fat_pct`)");
    assert!(said(&with("MAXCOND", "6.1", None), "MAXCOND: not used"));
}

#[test]
fn a_visit_says_less_than_ours() {
    let whole = visit(&[("eventDateTime", json!("2026-03-02T04:30:00Z"))]);
    assert_eq!(whole.cell("started_at"), "2026-03-02T04:41:10Z", "the event's time is not the start");
    assert_eq!(whole.cell("destination"), "", "no word for the tank: unknown");
    assert_eq!(whole.cell("attached_at"), "");
    assert_eq!(whole.cell("lf_kicked"), "");
    assert!(!said(&whole, "when she left"));
    let milking = visit(&[
        ("milkingVisitDuration", Value::Null),
        ("milkingDuration", json!({"unitCode": "SEC", "value": 300})),
    ]);
    assert_eq!(milking.cell("ended_at"), "2026-03-02T04:46:10Z");
    assert!(said(&milking, "1 visit does not say when she left"), "{:?}", milking.said());
    let by_event =
        visit(&[("milkingVisitDuration", Value::Null), ("eventDateTime", json!("2026-03-02T04:49:00Z"))]);
    assert_eq!(by_event.cell("ended_at"), "2026-03-02T04:49:00Z");
    for silent in ["turned-away", "fed-only", "tank", "kicked", "take-off", "entry"] {
        assert!(cowpath_import::ade::CANNOT_SAY.split(' ').any(|word| word == silent));
    }
}

#[test]
fn a_box_is_a_text_found_in_one_of_three_places() {
    assert_eq!(visit(&[("milkingBoxNumber", json!("01"))]).cell("box"), "01", "not 1");
    let unit = visit(&[
        ("milkingBoxNumber", Value::Null),
        ("milkingParlourUnit", json!("U2")),
        ("milkingDeviceId", json!("D")),
    ]);
    assert_eq!(unit.cell("box"), "U2");
    let device = visit(&[("milkingBoxNumber", Value::Null), ("milkingDeviceId", json!("D"))]);
    assert_eq!(device.cell("box"), "D");
    assert_eq!(visit(&[("milkingBoxNumber", Value::Null)]).refused().0, "milkingBoxNumber");
    assert_eq!(visit(&[("milkingBoxNumber", json!(1))]).refused().0, "milkingBoxNumber");
}

#[test]
fn outcome_follows_what_is_said_and_weighed() {
    let weight = |kg: f64| json!({"unitCode": "KGM", "value": kg});
    let outcome = |change: &[(&str, Value)]| visit(change).cell("outcome");
    assert_eq!(outcome(&[]), "milked");
    assert_eq!(outcome(&[("milkingComplete", json!(false))]), "incomplete");
    assert_eq!(outcome(&[("milkingRemarks", json!(["MilkingIncomplete"]))]), "incomplete");
    assert_eq!(outcome(&[("milkingMilkWeight", weight(0.1))]), "failed");
    let quarters = json!([{"icarQuarterId": "LF", "quarterMilkingWeight": weight(0.0)}]);
    assert_eq!(outcome(&[("quarterMilkings", quarters)]), "incomplete");
    let manual = visit(&[("milkingType", json!("Manual"))]);
    assert_eq!((manual.rows().len(), manual.counts.passed_over), (0, 1));
    assert!(said(&manual, "no visit to a box"));
    assert_eq!(
        visit(&[("milkingType", json!("Reference"))]).refused().0,
        "milkingType",
        "that is another list"
    );
    assert_eq!(visit(&[("milkingRemarks", json!(["Fine"]))]).refused().0, "milkingRemarks");
    assert_eq!(visit(&[("milkingRemarks", json!(["MilkedSeparately"]))]).cell("destination"), "held");
}

#[test]
fn quarters_may_be_missing_and_are_never_rescaled() {
    let quarter = |id: &str, kg: f64| json!({"icarQuarterId": id, "quarterMilkingWeight": {"unitCode": "KGM", "value": kg}});
    let three =
        visit(&[("quarterMilkings", json!([quarter("LF", 3.0), quarter("RF", 3.0), quarter("RR", 3.0)]))]);
    assert_eq!((three.cell("lr_kg"), three.cell("rr_kg")), (String::new(), "3".into()));
    assert!(!said(&three, "differ"), "the fourth may have given the rest");
    let four = json!([quarter("LF", 3.0), quarter("RF", 3.0), quarter("LR", 1.0), quarter("RR", 3.0)]);
    let four = visit(&[("quarterMilkings", four)]);
    assert_eq!(four.cell("milk_kg"), "11.8");
    assert!(said(&four, "1 visit's quarters differ by more than 10 %"), "{:?}", four.said());
    let twice = visit(&[("quarterMilkings", json!([quarter("LF", 3.0), quarter("LF", 3.0)]))]);
    assert_eq!(twice.refused(), ("icarQuarterId".into(), "comes twice in one visit".into()));
}

#[test]
fn a_file_is_told_from_other_json() {
    assert!(matches!(try_read(br#"{"a":1}"#), Err(Unreadable::NotExchange)));
    assert!(matches!(try_read(br#"[{"a":1},{"b":2}]"#), Err(Unreadable::NotExchange)));
    assert!(matches!(try_read(br#"[{"a":1} {"b":2}]"#), Err(Unreadable::NotJson { line: 1, .. })));
    let other =
        try_read_with(br#"{"resourceType":"icarDeviceResource","id":"1"}"#, &reading(), Herd::default());
    assert_eq!(other.unwrap().counts.passed_over, 1);
}

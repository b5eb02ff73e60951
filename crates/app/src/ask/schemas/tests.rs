//! The schema check beside a library written by others: the same verdict on good and on wounded documents.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

use serde_json::{Value, json};

use super::Schemas;

const BASE: &str = "http://ade.invalid/";
const ATTENTION: &str = "collections/icarAttentionEventCollection.json";
const HEATS: &str = "collections/icarReproHeatEventCollection.json";

/// `nullable` is a word of OpenAPI that the library does not know: said in its own words.
fn plain(schema: &Value) -> Value {
    match schema {
        Value::Array(all) => all.iter().map(plain).collect(),
        Value::Object(words) => {
            let mut own: serde_json::Map<String, Value> =
                words.iter().map(|(word, value)| (word.clone(), plain(value))).collect();
            if own.get("nullable") == Some(&json!(true)) {
                own.remove("nullable");
                return json!({"anyOf": [own, {"type": "null"}]});
            }
            Value::Object(own)
        }
        other => other.clone(),
    }
}

fn with_library(test: impl Fn(&dyn Fn(&str, &Value) -> bool)) {
    let schemas = Schemas::load().unwrap();
    let mut registry = jsonschema::Registry::new();
    for (path, schema) in schemas.all() {
        registry = registry.add(format!("{BASE}{path}"), plain(schema)).unwrap();
    }
    let registry = registry.prepare().unwrap();
    let judge = |path: &str| {
        jsonschema::options()
            .with_registry(&registry)
            .should_validate_formats(true)
            .build(&json!({"$ref": format!("{BASE}{path}")}))
            .unwrap()
    };
    let (attention, heats) = (judge(ATTENTION), judge(HEATS));
    test(&|path, document| {
        if path == ATTENTION { attention.is_valid(document) } else { heats.is_valid(document) }
    });
}

fn example(name: &str) -> Value {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../import/tests/ade/");
    serde_json::from_str(&std::fs::read_to_string(format!("{folder}{name}")).unwrap()).unwrap()
}

#[test]
fn both_agree_on_the_examples_and_on_every_wound() {
    let schemas = Schemas::load().unwrap();
    let heat = json!({"view": {"totalItems": 1}, "member": [example("04-heat.json")]});
    with_library(|library| {
        let (mut good, mut bad) = (0, 0);
        for (path, page) in [(ATTENTION, example("09-attention-page.json")), (HEATS, heat.clone())] {
            assert!(library(path, &page) && schemas.faults(path, &page).unwrap().is_empty());
            let mut pointers = Vec::new();
            collect(&page, String::new(), &mut pointers);
            for pointer in pointers {
                for wound in [
                    json!(null),
                    json!(1.5),
                    json!(2),
                    json!("word"),
                    json!(true),
                    json!([]),
                    json!({}),
                    json!("2026-03-02T05:30:00"),
                ] {
                    let mut own = page.clone();
                    *own.pointer_mut(&pointer).unwrap() = wound;
                    let ours = schemas.faults(path, &own).unwrap();
                    assert_eq!(library(path, &own), ours.is_empty(), "{pointer} {ours:?}");
                    if ours.is_empty() { good += 1 } else { bad += 1 }
                }
                let mut own = page.clone();
                let (within, name) = pointer.rsplit_once('/').unwrap();
                if let Some(Value::Object(properties)) = own.pointer_mut(within) {
                    properties.remove(name);
                    let ours = schemas.faults(path, &own).unwrap();
                    assert_eq!(library(path, &own), ours.is_empty(), "without {pointer}: {ours:?}");
                }
            }
        }
        assert!(100 < bad && 20 < good, "{good} passed and {bad} did not: the wounds must tell");
    });
}

fn collect(value: &Value, at: String, pointers: &mut Vec<String>) {
    match value {
        Value::Object(own) => {
            for (name, value) in own {
                let at = format!("{at}/{}", name.replace('~', "~0").replace('/', "~1"));
                pointers.push(at.clone());
                collect(value, at, pointers);
            }
        }
        Value::Array(own) => {
            for (place, value) in own.iter().enumerate() {
                let at = format!("{at}/{place}");
                pointers.push(at.clone());
                collect(value, at, pointers);
            }
        }
        _ => {}
    }
}

#[test]
fn what_each_cause_is_called_validates() {
    use crate::ask::{
        export,
        round::{Quiet, Round, RoundCall, RoundReason},
    };
    let call =
        |cause: &'static str, urgency: &'static str, animal: Option<&str>, signal: &'static str| RoundCall {
            id: format!("c-{cause}"),
            subject: "cow",
            animal: animal.map(str::to_owned),
            box_name: None,
            quarter: None,
            cause,
            probability: 0.71,
            others: Vec::new(),
            urgency,
            since: "2026-03-01T14:10:00-05:00".into(),
            sentence: "5: something is wrong, 71 % sure.".into(),
            says: String::new(),
            action: "Look at her.".into(),
            why: String::new(),
            others_words: String::new(),
            cautions: Vec::new(),
            reasons: vec![RoundReason {
                signal,
                quarter: None,
                observed: 1.0,
                expected: 2.0,
                unit: "kg",
                weight: 2.0,
                name_words: String::new(),
                value_words: String::new(),
            }],
            worth: 1.0,
            place: String::new(),
            found: None,
            asked: String::new(),
            past: Vec::new(),
            lanes: None,
        };
    let round = Round {
        farm: "f".into(),
        at: "2026-03-02T05:30:00-05:00".into(),
        at_words: String::new(),
        last_row_words: String::new(),
        model: String::new(),
        summary: String::new(),
        calls: vec![
            call("udder", "now", Some("5"), "conductivity"),
            call("feet", "today", Some("6"), "lying"),
            call("metabolic", "watch", Some("7"), "milk"),
            call("gut", "watch", Some("8"), "rumination"),
            call("fever", "watch", Some("9"), "milk temperature"),
            call("fever", "watch", Some("999000000000131"), "activity"),
            call("unclear", "watch", Some("11"), "milk"),
            call("herd-milk", "today", None, "milk"),
        ],
        places: Vec::new(),
        looked_at: Vec::new(),
        open: Vec::new(),
        counts: cowpath_core::say::summary::Counts::default(),
        quiet: Quiet { cows: 0, not_judged: Vec::new() },
        away: Default::default(),
        learned: Default::default(),
        notes: Vec::new(),
    };
    let official = |animal: &str| (animal == "5").then(|| "999000000000005".to_owned());
    let now = "2026-03-02T10:30:00.5Z".parse().unwrap();
    let export = export::attention(&round, &official, now, "local.cowpath").unwrap();
    assert_eq!((export.resources, export.left_out), (7, 1), "a call of the herd has no animal");
    export::validated(export::What::Attention, &export.page).unwrap();
    with_library(|library| assert!(library(ATTENTION, &export.page)));
    let member = export.page["member"].as_array().unwrap();
    let causes: Vec<String> = member.iter().map(|event| event["causes"].to_string()).collect();
    assert_eq!(
        causes,
        [
            r#"["Mastitis"]"#,
            r#"["Lameness"]"#,
            r#"["Ketosis"]"#,
            r#"["LowerRumination"]"#,
            r#"["AnimalTemperature"]"#,
            r#"["Health"]"#,
            r#"["Undefined"]"#
        ]
    );
    assert_eq!(member[0]["animal"], json!({"scheme": "std.iso.11785", "id": "999000000000005"}));
    assert_eq!(member[1]["animal"], json!({"scheme": "local.cowpath.animal", "id": "6"}));
    assert_eq!(member[5]["animal"]["scheme"], "std.iso.11785");
    assert_eq!(member[0]["eventDateTime"], "2026-03-01T19:10:00Z", "in UTC");
    assert_eq!(member[0]["meta"]["modified"], "2026-03-02T10:30:00Z");
    let priorities: Vec<&str> = member[..3].iter().map(|event| event["priority"].as_str().unwrap()).collect();
    assert_eq!(priorities, ["Urgent", "Normal", "Informational"]);
    for event in member {
        let remark = event["remark"].as_str().unwrap();
        assert!(
            remark.contains("0.71") && remark.contains("to be looked at, this is no diagnosis"),
            "{remark}"
        );
    }
    let mut broken = export.page.clone();
    broken["member"][0]["causes"] = json!(["Trouble"]);
    let why = export::validated(export::What::Attention, &broken).unwrap_err();
    assert_eq!(crate::trouble::in_words(&why).code, 2, "our fault");
}

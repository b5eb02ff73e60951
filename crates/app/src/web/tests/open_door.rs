//! What programs are promised: the description against the routes, and the answers of a small farm against the description.
//!
//! The answers are checked by a JSON Schema library of the registry, not by code of ours. The routes are read from the
//! text of `web/mod.rs`: a router cannot be asked what it holds.

use std::{
    collections::{BTreeMap, BTreeSet},
    io::Write,
    path::PathBuf,
    sync::Arc,
};

use axum::{body::Body, http::Request};
use cowpath_herdsim::Scenario;
use serde_json::{Value, json};

use super::{Answered, FixedFarm, box_days, farm, get, send, send_to, whole};
use crate::{
    ask::{farm::Barn, live::Live, take_in},
    web::openapi::DOCUMENT,
};

fn document() -> Value {
    serde_json::from_str(DOCUMENT).unwrap()
}

/// Every route with its methods, as the router is written.
fn routes() -> BTreeSet<(String, String)> {
    let text = include_str!("../mod.rs");
    let mut routes = BTreeSet::new();
    for part in text.split(".route(").skip(1) {
        let path = part.split('"').nth(1).unwrap().to_owned();
        let line = part.lines().next().unwrap();
        for method in ["get", "post", "put", "delete", "patch"] {
            if line.contains(&format!("{method}(")) {
                routes.insert((path.clone(), method.to_owned()));
            }
        }
    }
    routes
}

/// Every address of the description with its methods.
fn described() -> BTreeSet<(String, String)> {
    let document = document();
    let each = document["paths"].as_object().unwrap().iter();
    each.flat_map(|(path, methods)| {
        methods.as_object().unwrap().keys().map(|method| (path.clone(), method.clone())).collect::<Vec<_>>()
    })
    .collect()
}

/// Checks a value against a schema of the description.
fn fits(schema: &Value, value: &Value, what: &str) {
    let mut whole = json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "components": document()["components"]
    });
    let own = schema.as_object().unwrap();
    whole.as_object_mut().unwrap().extend(own.iter().map(|(name, own)| (name.clone(), own.clone())));
    let validator = jsonschema::options().should_validate_formats(true).build(&whole).unwrap();
    let faults: Vec<String> = validator
        .iter_errors(value)
        .take(5)
        .map(|fault| format!("{}: {fault}", fault.instance_path()))
        .collect();
    assert!(faults.is_empty(), "{what}: {faults:#?}");
}

/// The schema of an answer: address, method, status.
fn schema(path: &str, method: &str, status: &str) -> Value {
    let mut answer = document()["paths"][path][method]["responses"][status].clone();
    if let Some(name) = answer["$ref"].as_str() {
        answer = document().pointer(name.trim_start_matches('#')).unwrap().clone();
    }
    answer["content"]["application/json"]["schema"].clone()
}

/// A herd of sixty over nine weeks, with boxes' states, in which somebody is called: the first of some such herds.
fn small_farm() -> (tempfile::TempDir, Arc<Live>) {
    let herds = (1..=12).map(herd);
    herds
        .into_iter()
        .find(|(_, farm)| !farm.round(None).unwrap().calls.is_empty())
        .expect("a herd with a call")
}

fn herd(seed: u64) -> (tempfile::TempDir, Arc<Live>) {
    let scenario = Scenario::demo(60, 2, 63, seed);
    let folder = tempfile::tempdir().unwrap();
    let logs = folder.path().join("logs");
    cowpath_herdsim::write(&scenario, &logs, None).unwrap();
    let zone = scenario.zone.clone();
    let now = scenario.last_day.at(23, 59, 0, 0).to_zoned_datetime(zone.clone()).unwrap().timestamp();
    let mut barn = Barn::found(folder.path(), now, zone.iana_name().unwrap()).unwrap();
    let files: Vec<PathBuf> =
        ["visits", "animals", "events", "box-states"].map(|table| logs.join(format!("{table}.csv"))).into();
    take_in::take_in(&mut barn, &files, &zone, now, &mut |_, _| {}).unwrap();
    (folder, Arc::new(Live::new(barn).unwrap()))
}

async fn ask(farm: &Arc<Live>, address: &str) -> Answered {
    let request = Request::get(address).header("host", "localhost").body(Body::empty()).unwrap();
    send_to(Arc::<Live>::clone(farm), request).await
}

async fn post(farm: &Arc<Live>, address: &str, body: String) -> Answered {
    let request =
        Request::post(address).header("host", "localhost").header("content-type", "application/json");
    send_to(Arc::<Live>::clone(farm), request.body(Body::from(body)).unwrap()).await
}

#[test]
fn every_route_is_described_and_everything_described_is_there() {
    let (routes, described) = (routes(), described());
    let missing: Vec<_> = routes.difference(&described).collect();
    let gone: Vec<_> = described.difference(&routes).collect();
    assert!(missing.is_empty(), "not in docs/openapi.json: {missing:?}");
    assert!(gone.is_empty(), "in docs/openapi.json, and no route: {gone:?}");
    assert!(15 <= routes.len(), "the routes were read: {routes:?}");
}

#[tokio::test]
async fn each_method_described_is_taken_and_each_other_is_not() {
    for (path, method) in described() {
        let address = path.replace("{animal}", "214").replace("{id}", "7").replace("{entry}", "1");
        if address == "/events" {
            continue;
        }
        for asked in ["get", "post"] {
            let request = Request::builder().method(asked.to_uppercase().as_str()).uri(&address);
            let answer =
                send(whole(), request.header("host", "localhost").body(Body::empty()).unwrap()).await;
            let there = described().contains(&(path.clone(), asked.to_owned()));
            assert_eq!(answer.status != 405, there, "{asked} {path} (described: {method})");
            assert!(
                !there || answer.status != 404 || path.ends_with("/cow") || path.ends_with("{entry}")
                    // Nothing waits under this key, which only the page itself can say.
                    || answer.text.contains("no longer waits"),
                "{asked} {path}: {}",
                answer.text
            );
        }
    }
}

#[test]
fn the_description_is_whole() {
    let document = document();
    assert_eq!(document["openapi"], "3.1.0");
    let mut named = BTreeSet::new();
    let text = document.to_string();
    for part in text.split("#/components/schemas/").skip(1) {
        named.insert(part[..part.find('"').unwrap()].to_owned());
    }
    let there: BTreeSet<String> =
        document["components"]["schemas"].as_object().unwrap().keys().cloned().collect();
    assert_eq!(named, there, "each schema is used, and each that is used is there");
    for schema in &there {
        jsonschema::meta::validate(&document["components"]["schemas"][schema]).unwrap();
    }
    for (path, methods) in document["paths"].as_object().unwrap() {
        for (method, one) in methods.as_object().unwrap() {
            assert!(one["summary"].is_string(), "{method} {path}");
            let in_path: BTreeMap<&str, &Value> = one["parameters"]
                .as_array()
                .into_iter()
                .flatten()
                .filter(|parameter| parameter["in"] == "path")
                .map(|parameter| (parameter["name"].as_str().unwrap(), &parameter["required"]))
                .collect();
            for name in ["animal", "id", "entry"] {
                assert_eq!(
                    path.contains(&format!("{{{name}}}")),
                    in_path.contains_key(name),
                    "{method} {path}"
                );
            }
            assert!(in_path.values().all(|required| **required == true), "{method} {path}");
        }
    }
}

#[tokio::test]
async fn a_small_farm_s_answers_are_as_described() {
    let (_folder, farm) = small_farm();
    let round = farm.round(None).unwrap();
    let call = round.calls.first().expect("the herd has a call");
    let cow = round.calls.iter().find_map(|call| call.animal.clone()).unwrap_or_else(|| "101".into());
    // Something was found, so that the record holds an answer, and taken back, so that it holds that too.
    let given =
        json!({"call": call.id, "outcome": "nothing", "by": "Ann", "note": "eats well", "sent_as": "a1"});
    let kept = post(&farm, "/api/found", given.to_string()).await;
    assert_eq!(kept.status, 201, "{}", kept.text);
    let answer: Value = serde_json::from_str(&kept.text).unwrap();
    fits(&schema("/api/found", "post", "201"), &answer, "an answer");
    fits(&json!({"$ref": "#/components/schemas/Given"}), &given, "what was sent");
    let before = day_before(&round.at);
    for (path, address) in [
        ("/api", "/api".to_owned()),
        ("/api/openapi.json", "/api/openapi.json".into()),
        ("/api/round", "/api/round".into()),
        ("/api/round", format!("/api/round?at={before}")),
        ("/api/cow/{animal}", format!("/api/cow/{cow}")),
        ("/api/cow/{animal}", format!("/api/cow/{cow}?from=2020-01-01")),
        ("/api/cow", format!("/api/cow?animal={cow}")),
        ("/api/herd", "/api/herd".into()),
        ("/api/boxes", "/api/boxes".into()),
        ("/api/boxes", format!("/api/boxes?animal={cow}&box=1")),
        ("/api/boxes", "/api/boxes?date=2001-01-01&animal=nobody".into()),
        ("/api/box-minutes", "/api/box-minutes".into()),
        ("/api/box-minutes", "/api/box-minutes?from=2001-01-01&to=2001-01-02".into()),
        ("/api/intervals", "/api/intervals".into()),
        ("/api/intervals", "/api/intervals?minutes=90".into()),
        ("/api/record", "/api/record".into()),
        ("/api/plan", "/api/plan?cows=40-60/10&boxes=1&other-boxes=2".into()),
        ("/api/costs", "/api/costs".into()),
        ("/api/records", "/api/records".into()),
        ("/api/quarantine", "/api/quarantine".into()),
    ] {
        let answer = ask(&farm, &address).await;
        assert_eq!(answer.status, 200, "{address}: {}", answer.text);
        let value: Value = serde_json::from_str(&answer.text).unwrap();
        fits(&schema(path, "get", "200"), &value, &address);
        // Asked again with its mark, nothing is sent.
        let mark = answer.headers["etag"].to_str().unwrap();
        let again = Request::get(&address).header("host", "localhost").header("if-none-match", mark);
        let again = send_to(Arc::<Live>::clone(&farm), again.body(Body::empty()).unwrap()).await;
        assert_eq!((again.status.as_u16(), again.text.as_str()), (304, ""), "{address}");
        assert_eq!(again.headers["etag"], mark, "{address}");
        let other = Request::get(&address).header("host", "localhost").header("if-none-match", "W/\"0\"");
        let other = send_to(Arc::<Live>::clone(&farm), other.body(Body::empty()).unwrap()).await;
        assert_eq!(other.status, 200, "{address}");
    }
    let boxes: Value = serde_json::from_str(&ask(&farm, "/api/boxes").await.text).unwrap();
    assert!(
        boxes["boxes"]
            .as_array()
            .unwrap()
            .iter()
            .any(|one| one["states"].as_array().is_some_and(|states| !states.is_empty()))
    );
    // An answer changes the mark of the round; taking it back changes it again.
    let told = ask(&farm, "/api/round").await.headers["etag"].clone();
    let undone = post(&farm, &format!("/api/found/{}/undo", answer["id"]), String::new()).await;
    assert_eq!((undone.status.as_u16(), undone.text.as_str()), (204, ""));
    assert_ne!(ask(&farm, "/api/round").await.headers["etag"], told);
    fits(
        &schema("/api/record", "get", "200"),
        &serde_json::from_str(&ask(&farm, "/api/record").await.text).unwrap(),
        "record",
    );
}

/// A day before an RFC 3339 time, as a farm's wall time.
fn day_before(at: &str) -> String {
    let day: jiff::civil::Date = at[..10].parse().unwrap();
    format!("{}T05:30", day.yesterday().unwrap())
}

#[tokio::test]
async fn answers_with_everything_in_them_are_as_described() {
    let full = || FixedFarm::of(farm::full());
    for (path, address) in [
        ("/api/round", "/api/round"),
        ("/api/cow/{animal}", "/api/cow/214"),
        ("/api/herd", "/api/herd"),
        ("/api/boxes", "/api/boxes?animal=214"),
        ("/api/record", "/api/record"),
    ] {
        let value: Value = serde_json::from_str(&get(full(), address).await.text).unwrap();
        fits(&schema(path, "get", "200"), &value, address);
    }
    let (_folder, empty) = box_days::farm_of(&[]);
    for (path, address) in [
        ("/api/round", "/api/round"),
        ("/api/boxes", "/api/boxes"),
        ("/api/herd", "/api/herd"),
        ("/api/box-minutes", "/api/box-minutes"),
        ("/api/intervals", "/api/intervals"),
    ] {
        let value: Value = serde_json::from_str(&ask(&empty, address).await.text).unwrap();
        fits(&schema(path, "get", "200"), &value, "an empty farm");
    }
}

#[tokio::test]
async fn what_goes_wrong_is_as_described() {
    let (_folder, farm) = box_days::read(&box_days::three_makes()[..1]);
    for (path, address, status) in [
        ("/api/round", "/api/round?at=soon", "400"),
        ("/api/cow/{animal}", "/api/cow/nobody", "404"),
        ("/api/cow/{animal}", "/api/cow/214?from=soon", "400"),
        ("/api/boxes", "/api/boxes?date=soon", "400"),
        ("/api/box-minutes", "/api/box-minutes?from=soon", "400"),
        ("/api/intervals", "/api/intervals?minutes=many", "400"),
    ] {
        let answer = ask(&farm, address).await;
        assert_eq!(answer.status.as_str(), status, "{address}");
        fits(&schema(path, "get", status), &serde_json::from_str(&answer.text).unwrap(), address);
    }
    for body in ["", "{", "[]", "{\"call\":7}", "{\"call\":\"x\",\"outcome\":\"nothing\"}"] {
        let answer = post(&farm, "/api/found", body.into()).await;
        assert_eq!(answer.status, 400, "{body}: {}", answer.text);
        fits(&schema("/api/found", "post", "400"), &serde_json::from_str(&answer.text).unwrap(), body);
    }
    let large = Request::post("/api/found").header("host", "localhost").header("content-length", "70000");
    let large = send_to(farm, large.body(Body::empty()).unwrap()).await;
    assert_eq!(large.status, 413);
    fits(&schema("/api/found", "post", "413"), &serde_json::from_str(&large.text).unwrap(), "too much");
    let broken = FixedFarm { broken: Some("the farm's file is locked"), ..whole() };
    let broken = get(broken, "/api/boxes").await;
    assert_eq!(broken.status, 500);
    fits(&schema("/api/boxes", "get", "500"), &serde_json::from_str(&broken.text).unwrap(), "broken");
}

#[tokio::test]
async fn files_that_are_brought_are_answered_as_described() {
    let (_folder, farm) = box_days::read(&box_days::three_makes()[..1]);
    let log = "animal,box,started_at,ended_at,outcome,milk_kg\n9,1,2026-03-04T05:00:00Z,2026-03-04T05:07:00Z,milked,-3\n";
    for (name, text, status) in [("visits.csv", log, "200"), ("nothing.bin", "\u{1}\u{2}", "422")] {
        let body = format!(
            "--edge\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\r\n{text}\r\n--edge--\r\n"
        );
        let request = Request::post("/api/files")
            .header("host", "localhost")
            .header("content-type", "multipart/form-data; boundary=edge");
        let answer = send_to(Arc::<Live>::clone(&farm), request.body(Body::from(body)).unwrap()).await;
        assert_eq!(answer.status.as_str(), status, "{}", answer.text);
        fits(&schema("/api/files", "post", status), &serde_json::from_str(&answer.text).unwrap(), name);
    }
    for (path, rows) in [("/api/records", "files"), ("/api/quarantine", "rows")] {
        let value: Value = serde_json::from_str(&ask(&farm, path).await.text).unwrap();
        assert!(!value[rows].as_array().unwrap().is_empty(), "{path}");
        fits(&schema(path, "get", "200"), &value, path);
    }
}

#[tokio::test]
async fn the_list_names_every_address_for_programs() {
    let list: Value = serde_json::from_str(&get(whole(), "/api").await.text).unwrap();
    let named: BTreeSet<(String, String)> = list["addresses"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| (one["path"].as_str().unwrap().to_owned(), one["method"].as_str().unwrap().to_lowercase()))
        .collect();
    let wanted: BTreeSet<(String, String)> =
        routes().into_iter().filter(|(path, _)| path.starts_with("/api")).collect();
    assert_eq!(named, wanted);
}

#[tokio::test]
async fn script_and_style_together_are_under_30_kilobytes_packed() {
    let mut packed = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::default());
    for address in ["/style.css", "/pages.js"] {
        packed.write_all(get(whole(), address).await.text.as_bytes()).unwrap();
    }
    let bytes = packed.finish().unwrap().len();
    assert!(bytes <= 30_000, "{bytes} bytes");
    assert!(1_000 < bytes, "they were counted");
}

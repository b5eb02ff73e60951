//! The real program: an unknown table is brought, waits, is mapped on its page, and its rows make a round.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;
#[path = "common/served.rs"]
mod served;

use std::fs;

use common::Place;
use served::Served;

/// Visits as no program of ours writes them; what `Qwert` is nobody can know.
fn foreign(day: u32) -> String {
    let mut text = String::from("Tier-Nr.;Melkplatz;Datum;Beginn;Ende;Qwert;Bemerkung\n");
    for n in 0..30 {
        let (hour, minute) = (4 + n / 4, 10 + n % 4 * 12);
        let milk = format!("{},{:02}", 9 + n % 6, 11 + n);
        text += &format!(
            "{};1;{day:02}.02.2026;{hour:02}:{minute:02}:00;{hour:02}:{:02}:30;{milk};x\n",
            129 + n % 5,
            minute + 7
        );
    }
    text
}

fn served() -> (Place, Served) {
    let place = Place::new();
    place.run(["settings", "--zone", "Europe/Berlin", "--name", "Reed End"]).done();
    let served = Served::start(&place, None);
    (place, served)
}

fn bring(served: &Served, name: &str, text: &str) -> (u16, String) {
    let body = format!(
        "--XX\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\r\n{text}\r\n--XX--\r\n"
    );
    served.ask("POST /records/files", body.as_bytes())
}

fn key_of(page: &str) -> String {
    let at = page.find("href=\"/map/").expect("the answer leads to the map page") + "href=\"/map/".len();
    page[at..at + 32].to_owned()
}

/// The fields of the page's form as a browser would send them, with some changed.
fn form(page: &str, changes: &[(&str, &str)], name: &str) -> String {
    let plain = |text: &str| {
        text.replace("&#34;", "\"")
            .replace("&#39;", "'")
            .replace("&#60;", "<")
            .replace("&#62;", ">")
            .replace("&#38;", "&")
    };
    let between = |text: &str, open: &str, close: &str| {
        let from = text.find(open).map(|at| at + open.len())?;
        text[from..].find(close).map(|to| plain(&text[from..from + to]))
    };
    let map =
        page.split("<textarea id=\"map\"").nth(1).and_then(|rest| between(rest, ">", "</textarea>")).unwrap();
    let mut fields = vec![("map".to_owned(), map), ("name".to_owned(), name.to_owned())];
    for place in 0..40 {
        let Some(word) = between(page, &format!("name=\"from-{place}\" value=\""), "\"") else { continue };
        let to = changes.iter().find(|(own, _)| *own == word).map_or("keep", |(_, to)| *to);
        fields.push((format!("from-{place}"), word));
        fields.push((format!("to-{place}"), to.to_owned()));
    }
    let coded = |text: &str| -> String {
        text.bytes()
            .map(|byte| {
                if byte.is_ascii_alphanumeric() {
                    char::from(byte).to_string()
                } else {
                    format!("%{byte:02X}")
                }
            })
            .collect()
    };
    fields
        .iter()
        .map(|(name, value)| format!("{}={}", coded(name), coded(value)))
        .collect::<Vec<_>>()
        .join("&")
}

#[test]
fn an_unknown_table_is_mapped_on_its_page_and_makes_a_round() {
    let (place, served) = served();
    let (status, page) = bring(&served, "milk.export.csv", &foreign(24));
    assert_eq!(status, 422);
    assert!(page.contains("Say how it is to be read"), "{page}");
    let key = key_of(&page);
    let address = format!("/map/{key}");
    assert!(place.farm().join("unread").join(&key).is_file(), "it is kept as it came");
    assert!(!place.farm().join("uploads").exists());
    assert_eq!(served.json("/api/records")["waiting"][0]["key"], key.as_str());

    let (status, page) = served.ask(&format!("GET {address}"), b"");
    assert_eq!(status, 200);
    assert!(page.contains("10 rows read so") && page.contains("semicolons"), "{page}");
    assert!(!page.contains("<th scope=\"col\">milk_kg</th>"), "what Qwert is, is not guessed");

    // Tried, and nothing kept.
    let (status, tried) =
        served.ask(&format!("POST {address}"), form(&page, &[("Qwert", "milk_kg")], "").as_bytes());
    assert_eq!(status, 200);
    assert!(tried.contains("<th scope=\"col\">milk_kg</th>") && tried.contains("<td>9.11</td>"), "{tried}");
    assert!(tried.contains("chosen by you"), "{tried}");
    assert!(!place.farm().join("maps").exists());

    // What cannot be comes back as it was chosen.
    let wrong = form(&tried, &[("Qwert", "box"), ("Bemerkung", "animal")], "own map");
    for post in [address.clone(), format!("{address}/keep")] {
        let (status, back) = served.ask(&format!("POST {post}"), wrong.as_bytes());
        assert_eq!(status, 422, "{post}");
        assert!(back.contains("would become") && back.contains("nothing was read or kept"), "{back}");
        assert!(back.contains("<option value=\"box\" selected>"), "{back}");
        assert!(back.contains("value=\"own map\""), "{back}");
    }
    let broken = form(&tried, &[], "own map").replacen("version", "versoin", 1);
    let (status, back) = served.ask(&format!("POST {address}/keep"), broken.as_bytes());
    assert_eq!(status, 422);
    assert!(back.contains("versoin") && back.contains("Not taken"), "the text typed comes back: {back}");
    assert!(!place.farm().join("maps").exists());
    let (status, back) = served.ask(&format!("POST {address}/keep"), form(&tried, &[], " ").as_bytes());
    assert_eq!((status, back.contains("the map has no name")), (422, true), "{back}");

    // Another file of the same form waits too, and is read with it.
    assert_eq!(bring(&served, "other.csv", &foreign(25)).0, 422);
    let (status, kept) = served.ask(&format!("POST {address}/keep"), form(&tried, &[], "own map").as_bytes());
    assert_eq!(status, 200, "{kept}");
    assert_eq!(kept.matches("30 read = 30 new + 0 same + 0 replaced + 0 quarantined").count(), 2, "{kept}");
    assert!(place.farm().join("maps/own-map.toml").is_file());
    assert!(!place.farm().join("unread").exists(), "nothing waits any more");
    assert!(served.json("/api/records")["waiting"].as_array().unwrap().is_empty());

    let cow = served.json("/api/cow/129").to_string();
    assert!(cow.contains("[\"24 Feb 04:10\",\"04:17\",\"1\",\"\",\"9.1\""), "{cow}");
    let (_, round) = served.ask("GET /round", b"");
    assert!(round.contains("Logs read up to"), "{round}");

    // The next export is known by its header; the page of the first leads on.
    let (status, next) = bring(&served, "next.csv", &foreign(26));
    assert_eq!((status, next.contains("30 read = 30 new")), (200, true), "{next}");
    let (status, gone) = served.ask(&format!("GET {address}"), b"");
    assert_eq!((status, gone.contains("no longer waits")), (404, true), "{gone}");
    for odd in ["..%2f..%2ffarm", "%00", "ABCDEF0123456789ABCDEF0123456789"] {
        assert_eq!(served.ask(&format!("GET /map/{odd}"), b"").0, 404, "{odd}");
    }
    place.whole();
}

#[test]
fn a_file_without_one_known_word_is_mapped_by_hand() {
    let (place, served) = served();
    let text =
        "aa;bb;cc;dd\nS1;214;2026-02-24 04:00;2026-02-24 04:07\nS1;215;2026-02-24 04:10;2026-02-24 04:18\n";
    let (_, page) = bring(&served, "what.csv", text);
    let address = format!("/map/{}", key_of(&page));
    let (status, page) = served.ask(&format!("GET {address}"), b"");
    assert_eq!(status, 200, "{page}");
    assert!(page.contains("Nothing fills animal"), "{page}");
    assert_eq!(page.to_lowercase().matches("nothing fills animal").count(), 1, "said once: {page}");
    let chosen =
        form(&page, &[("aa", "box"), ("bb", "animal"), ("cc", "started_at"), ("dd", "ended_at")], "by hand");
    let (status, kept) = served.ask(&format!("POST {address}/keep"), chosen.as_bytes());
    assert_eq!((status, kept.contains("2 read = 2 new")), (200, true), "{kept}");
    place.whole();
}

#[test]
fn a_file_of_the_inbox_is_read_from_where_it_lies() {
    let place = Place::new();
    place.run(["settings", "--zone", "Europe/Berlin"]).done();
    let inbox = place.dir.path().join("inbox");
    fs::create_dir(&inbox).unwrap();
    let served = Served::start(&place, Some(&inbox));
    fs::write(inbox.join("night.csv"), foreign(24)).unwrap();
    let records =
        served.until("it waits", |records| records["waiting"].as_array().is_some_and(|all| all.len() == 1));
    let address = format!("/map/{}", records["waiting"][0]["key"].as_str().unwrap());
    let (_, page) = served.ask(&format!("GET {address}"), b"");
    let (status, kept) = served.ask(&format!("POST {address}/keep"), form(&page, &[], "nightly").as_bytes());
    assert_eq!((status, kept.contains("30 read = 30 new")), (200, true), "{kept}");
    assert_eq!(fs::read_to_string(inbox.join("night.csv")).unwrap(), foreign(24), "nothing in it is moved");
    let records = served.json("/api/records");
    assert_eq!(records["files"][0]["way"], "inbox");
    assert!(records["waiting"].as_array().unwrap().is_empty());
}

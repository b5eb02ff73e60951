//! Records, the quarantine, and files that are brought: what is shown, what is taken, what is turned away.

use axum::{body::Body, http::Request};

use super::{Answered, FixedFarm, farm, get, send, whole};

fn empty() -> FixedFarm {
    FixedFarm { herd: Vec::new(), ..FixedFarm::of(farm::without_calls(0, 0)) }
}

/// What a browser on the farm's own page sends.
fn post(address: &str, kind: &str, body: impl Into<Body>) -> Request<Body> {
    Request::post(address)
        .header("host", "localhost:8423")
        .header("origin", "http://localhost:8423")
        .header("sec-fetch-site", "same-origin")
        .header("content-type", kind)
        .body(body.into())
        .unwrap()
}

const FORM: &str = "application/x-www-form-urlencoded";
const FILES: &str = "multipart/form-data; boundary=XX";

fn part(name: &str, text: &str) -> String {
    format!(
        "--XX\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\nContent-Type: text/csv\r\n\r\n{text}\r\n"
    )
}

/// A farm whose uploads land in a folder of their own, and that folder.
fn apart() -> (tempfile::TempDir, FixedFarm) {
    let folder = tempfile::tempdir().unwrap();
    let farm = FixedFarm { folder: folder.path().to_owned(), ..whole() };
    (folder, farm)
}

fn left(folder: &tempfile::TempDir) -> usize {
    std::fs::read_dir(folder.path()).unwrap().count()
}

async fn bring(body: impl Into<Body>) -> (Answered, usize) {
    let (folder, farm) = apart();
    let answered = send(farm, post("/records/files", FILES, body)).await;
    (answered, left(&folder))
}

/// One file's rows, each after a rest; they never end.
fn dripping(bytes: usize, rest: std::time::Duration) -> Body {
    let head = part("visits.csv", "animal").trim_end().to_owned();
    Body::from_stream(futures_util::stream::unfold(head, move |say| async move {
        tokio::time::sleep(rest).await;
        Some((Ok::<String, std::io::Error>(say), "7".repeat(bytes)))
    }))
}

#[tokio::test(start_paused = true)]
async fn an_upload_that_would_never_end_is_let_go() {
    let second = std::time::Duration::from_secs(1);
    let begun = tokio::time::Instant::now();
    let (answered, left) = bring(dripping(1, second)).await;
    assert_eq!(answered.status, 408, "{}", answered.text);
    assert!(answered.text.contains("less than a kilobyte"), "{}", answered.text);
    assert_eq!(left, 0, "nothing of it stays on the disk");
    assert!(begun.elapsed() < 40 * second, "{:?}", begun.elapsed());

    // More of them than there are places keep nobody out for ever.
    let begun = tokio::time::Instant::now();
    let many: Vec<_> = (0..40).map(|_| tokio::spawn(bring(dripping(1, second)))).collect();
    tokio::time::sleep(second).await;
    let honest = [part("visits.csv", "animal,box\r\n214,1"), "--XX--\r\n".into()].concat();
    assert_eq!(bring(honest).await.0.status, 200);
    assert!(begun.elapsed() < 120 * second, "{:?}", begun.elapsed());
    for one in many {
        assert_eq!(one.await.unwrap().0.status, 408);
    }

    // A poor line is slow, and is waited for as long as it needs.
    let mut rows = vec![part("visits.csv", "animal").trim_end().to_owned()];
    rows.extend(std::iter::repeat_n("7".repeat(1500), 90));
    rows.push("\r\n--XX--\r\n".into());
    let slowly = futures_util::stream::unfold(rows.into_iter(), move |mut rows| async move {
        tokio::time::sleep(second).await;
        rows.next().map(|row| (Ok::<String, std::io::Error>(row), rows))
    });
    assert_eq!(bring(Body::from_stream(slowly)).await.0.status, 200);
}

#[tokio::test]
async fn what_came_is_listed_and_everything_is_one_step_away() {
    let page = get(whole(), "/records").await;
    assert_eq!(page.status, 200);
    for word in [
        "9 read = 7 new + 1 same + 0 replaced + 1 quarantined",
        "Not read: the first line names no column of any table",
        "<code>cowpath map FILE</code>",
        "column not used: <code>colour</code>",
        "growing.csv",
        "Conductivity of box 2: none since Friday 14:10",
        "9.1 % (8.8 to 9.5 %)",
        "href=\"/records/quarantine\"",
        "action=\"/records/files\"",
        "action=\"/records/settings\"",
        "value=\"1, straw &#38; chaff\"",
        "1 to 2 of 240",
        "href=\"/records?skip=2\"",
    ] {
        assert!(page.text.contains(word), "{word}: {}", page.text);
    }
    for address in ["/", "/herd", "/cow/214", "/records", "/nowhere"] {
        assert!(get(whole(), address).await.text.contains("href=\"/records\""), "{address}");
    }
    let later = get(whole(), "/records?skip=50").await.text;
    assert!(later.contains("href=\"/records\">Those before"), "{later}");
    assert_eq!(get(whole(), "/records?skip=-1").await.status, 400);
}

#[tokio::test]
async fn an_empty_farm_says_what_to_do_first() {
    let round = get(empty(), "/").await.text;
    for word in
        ["action=\"/records/files\"", "type=\"file\"", "cowpath import", "cowpath demo", "cowpath map FILE"]
    {
        assert!(round.contains(word), "{word}");
    }
    let records = get(empty(), "/records").await.text;
    for word in ["None yet.", "No row is in quarantine", "published figures stand in", "--inbox DIR"] {
        assert!(records.contains(word), "{word}: {records}");
    }
    let kept = get(empty(), "/records/quarantine").await.text;
    assert!(kept.contains("No row is in quarantine."));
}

#[tokio::test]
async fn ten_thousand_rows_come_by_pages() {
    let first = get(whole(), "/records/quarantine").await;
    assert!(first.text.len() < 100_000, "{} bytes", first.text.len());
    assert!(first.text.contains("1 to 50 of 10000") && first.text.contains("skip=50"));
    assert!(first.text.contains("visits &#60;&#38;&#62; of May.csv"));
    let last = get(whole(), "/records/quarantine?skip=9950").await.text;
    assert!(last.contains("9951 to 10000 of 10000") && !last.contains("Those after"), "{last}");
    let beyond = get(whole(), "/records/quarantine?skip=18446744073709551615").await;
    assert!(beyond.status == 200 && beyond.text.contains("ends before this page"), "{}", beyond.text);
    let json: serde_json::Value =
        serde_json::from_str(&get(whole(), "/api/quarantine?skip=50").await.text).unwrap();
    assert_eq!(json["rows"][0]["entry"], 51);
    assert_eq!(json["rows"][0]["do"], "mend it in the file and read it again");
}

#[tokio::test]
async fn a_row_is_mended_in_its_own_columns() {
    let form = get(whole(), "/records/quarantine/12").await;
    assert_eq!(form.status, 200);
    for word in [
        "<label for=\"cell-0\">animal</label>",
        "value=\"2026-03-02T05:02:10-06:00\"",
        "milk_kg (look here first)",
        "aria-invalid",
    ] {
        assert!(form.text.contains(word), "{word}: {}", form.text);
    }
    let sent = |typed: &str| post("/records/quarantine/12", FORM, typed.to_owned());
    let done = send(whole(), sent("cell-5=11.4")).await;
    assert_eq!(
        (done.status.as_u16(), done.headers["location"].to_str().unwrap()),
        (303, "/records/quarantine?done=mended")
    );
    assert!(get(whole(), "/records/quarantine?done=mended").await.text.contains("mended and taken in"));
    let still = send(whole(), sent("cell-0=215&cell-5=eleven%3Cb%3E")).await;
    assert_eq!(still.status, 422);
    for word in [
        "still cannot be used",
        "milk_kg: is no &#60;figure&#62;.",
        "value=\"215\"",
        "eleven&#60;b&#62;",
        "as it was",
    ] {
        assert!(still.text.contains(word), "{word}: {}", still.text);
    }
    assert_eq!(send(whole(), post("/records/quarantine/77", FORM, "cell-5=1")).await.status, 409);
    for address in
        ["/records/quarantine/0", "/records/quarantine/x", "/records/quarantine/99999999999999999999"]
    {
        assert_eq!(get(whole(), address).await.status, 404, "{address}");
        assert_eq!(send(whole(), post(address, FORM, "cell-5=1")).await.status, 404, "{address}");
    }
    let again = send(whole(), post("/records/quarantine/again", FORM, "")).await;
    assert!(again.status == 200 && again.text.contains("3 of 10000 rows are understood"), "{}", again.text);
}

#[tokio::test]
async fn settings_pass_the_checks_of_the_command() {
    let done = send(
        whole(),
        post("/records/settings", FORM, "name=Reed+End&zone=Europe/Copenhagen&units=us&pens=1,2"),
    )
    .await;
    assert_eq!(done.status, 303);
    assert!(get(whole(), "/records?done=settings").await.text.contains("The settings are saved."));
    for (form, says) in [
        ("zone=Mars/Olympus", "is not the name of a time zone"),
        ("units=stone", "no units"),
        ("name=a%0Ab", "cannot be the name"),
    ] {
        let page = send(whole(), post("/records/settings", FORM, form)).await;
        assert!(matches!(page.status.as_u16(), 400 | 422), "{form}: {}", page.status);
        assert!(page.text.contains(says) && page.text.contains("What was kept"), "{form}: {}", page.text);
    }
}

#[tokio::test]
async fn only_the_farms_own_pages_change_anything() {
    let sent = |headers: &[(&str, &str)]| {
        let mut request =
            Request::post("/records/settings").header("host", "localhost:8423").header("content-type", FORM);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        request.body(Body::from("name=x")).unwrap()
    };
    let ours: [&[(&str, &str)]; 5] = [
        &[("origin", "http://localhost:8423"), ("sec-fetch-site", "same-origin")],
        &[("origin", "http://localhost:8423")],
        &[("sec-fetch-site", "same-origin")],
        &[("user-agent", "curl/8.0")],
        &[],
    ];
    for headers in ours {
        assert_eq!(send(whole(), sent(headers)).await.status, 303, "{headers:?}");
    }
    let foreign: [&[(&str, &str)]; 9] = [
        &[("origin", "http://evil.example")],
        &[("origin", "null")],
        &[("origin", "http://localhost:9999")],
        &[("origin", "http://localhost:8423.evil.example")],
        &[("origin", "http://localhost:8423"), ("sec-fetch-site", "cross-site")],
        &[("origin", "http://localhost:8423"), ("origin", "http://evil.example")],
        &[("sec-fetch-site", "same-site")],
        &[("sec-fetch-site", "none")],
        &[("user-agent", "Mozilla/5.0 (an old browser that says nothing of where it comes from)")],
    ];
    for headers in foreign {
        let page = send(whole(), sent(headers)).await;
        assert_eq!(page.status, 403, "{headers:?}");
        assert!(page.text.contains("Nothing was changed"), "{headers:?}");
    }
    // Reading is everybody's who knows the name.
    let reading =
        Request::get("/records").header("host", "localhost").header("origin", "http://evil.example");
    assert_eq!(send(whole(), reading.body(Body::empty()).unwrap()).await.status, 200);
}

#[tokio::test]
async fn files_are_taken_in_and_nothing_stays_behind() {
    let body = part("visits.csv", "a,b\n1,2") + &part("empty.csv", "") + "--XX--\r\n";
    let (page, behind) = bring(body.clone()).await;
    assert_eq!(page.status, 200);
    for word in [
        "<b>visits.csv</b>",
        "2 read",
        "milk_kg <code>&#60;b&#62;</code>",
        "empty.csv",
        "Not read: the file is empty",
    ] {
        assert!(page.text.contains(word), "{word}: {}", page.text);
    }
    assert_eq!(behind, 0);
    let (folder, farm) = apart();
    let json = send(farm, post("/api/files", FILES, body)).await;
    let told: serde_json::Value = serde_json::from_str(&json.text).unwrap();
    assert_eq!(told["files"][0]["read"], 2);
    assert_eq!(left(&folder), 0);
}

#[tokio::test]
async fn hostile_names_are_only_shown() {
    for (sent, shown) in [
        ("../../etc/passwd", "<b>passwd</b>"),
        ("C:\\logs\\visits.csv", "<b>visits.csv</b>"),
        ("<script>x</script>.csv", "script&#62;.csv"),
        ("..", "file without a name"),
        ("räv\u{85}.csv", "räv\u{fffd}.csv"),
    ] {
        let (page, behind) = bring(part(sent, "x") + "--XX--\r\n").await;
        assert_eq!(page.status, 200, "{sent}: {}", page.text);
        assert!(page.text.contains(shown), "{sent}: {}", page.text);
        assert!(!page.text.contains("<script>x"), "{sent}");
        assert_eq!(behind, 0);
    }
    let (page, _) = bring(part(&"n".repeat(3000), "x") + "--XX--\r\n").await;
    assert!(!page.text.contains(&"n".repeat(121)));
}

#[tokio::test]
async fn half_an_upload_leaves_nothing() {
    for body in [
        part("visits.csv", "a,b\n1,2"),
        part("visits.csv", "a,b\n1,2") + &part("more.csv", "a,b")[..60],
        "--XX\r\nContent-Disposition".to_owned(),
    ] {
        let (page, behind) = bring(body.clone()).await;
        assert_eq!(page.status, 400, "{body}: {}", page.text);
        assert!(page.text.contains("None of it was kept"), "{}", page.text);
        assert_eq!(behind, 0);
    }
    for body in [
        "--XX--\r\n".to_owned(),
        "--XX\r\nContent-Disposition: form-data; name=\"file\"; filename=\"\"\r\n\r\n\r\n--XX--\r\n"
            .to_owned(),
    ] {
        let (page, behind) = bring(body).await;
        assert!(page.status == 400 && page.text.contains("No file was chosen"), "{}", page.text);
        assert_eq!(behind, 0);
    }
    let (_, farm) = apart();
    assert_eq!(send(farm, post("/records/files", FORM, "file=x")).await.status, 400);
}

#[tokio::test]
async fn too_much_is_turned_away_before_it_is_sent() {
    for (address, length, status) in [
        ("/records/files", 3_u64 << 30, 413),
        ("/api/files", 3 << 30, 413),
        ("/records/settings", 70_000, 413),
        ("/records/quarantine/12", 70_000, 413),
    ] {
        let mut request = post(address, FORM, "");
        request.headers_mut().insert("content-length", length.to_string().parse().unwrap());
        assert_eq!(send(whole(), request).await.status, status, "{address}");
    }
    // A form that does not say how much it brings is read no further than any form may go.
    let unsaid = post("/records/settings", FORM, format!("name={}", "x".repeat(70_000)));
    assert!(unsaid.headers().get("content-length").is_none());
    assert_eq!(send(whole(), unsaid).await.status, 400);
    let many: String = (0..201).map(|n| part(&format!("{n}.csv"), "x")).collect();
    let (page, behind) = bring(many + "--XX--\r\n").await;
    assert!(page.status == 413 && page.text.contains("more than 200 files"), "{}", page.text);
    assert_eq!(behind, 0);
}

#[test]
fn what_stands_between_backticks_is_shown_as_typed_and_nothing_else_is_markup() {
    for (text, html) in [
        ("say `cowpath map FILE` first", "say <code>cowpath map FILE</code> first"),
        ("`a<b>` & \"c\" `", "<code>a&#60;b&#62;</code> &#38; &#34;c&#34; `"),
        ("one ` alone", "one ` alone"),
        ("``", "<code></code>"),
        ("", ""),
    ] {
        assert_eq!(crate::web::page::coded(text), html, "{text}");
    }
}

#[tokio::test]
async fn the_page_of_a_map_shows_hostile_cells_as_they_are_and_leads_on() {
    let (folder, _) = apart();
    let farm = || FixedFarm { folder: folder.path().to_owned(), ..whole() };
    let path = folder.path().join("odd");
    std::fs::write(&path, "<b>Cow</b>;\"\"\"x\"\"\";Start\n<script>1</script>;2;3\n4;5;6\n").unwrap();
    let coming = crate::ask::coming::Coming {
        name: "<i>odd</i>.csv".into(),
        way: cowpath_store::Way::Page,
        ..crate::ask::coming::Coming::named(&path)
    };
    let (key, _) = crate::ask::parked::park(folder.path(), &coming).unwrap();
    let address = format!("/map/{key}");
    let shown = get(farm(), &address).await;
    assert_eq!(shown.status, 200, "{}", shown.text);
    for markup in ["<script>1", "<b>Cow", "<i>odd"] {
        assert!(!shown.text.contains(markup), "{markup}");
    }
    assert!(shown.text.contains("Nothing fills"), "{}", shown.text);
    // A form of which half is missing is told on the page.
    for post in [address.clone(), format!("{address}/keep")] {
        let told = send(farm(), self::post(&post, FORM, "name=own")).await;
        assert_eq!(told.status, 422, "{post}");
        assert!(told.text.contains("does not begin with the version of a map"), "{}", told.text);
        assert!(told.text.contains("value=\"own\""));
        let mut foreign = self::post(&post, FORM, "name=own");
        foreign.headers_mut().insert("sec-fetch-site", "cross-site".parse().unwrap());
        assert_eq!(send(farm(), foreign).await.status, 403);
    }
    let records = get(whole(), "/records").await;
    assert!(
        records.text.contains("Files that wait to be told")
            && records.text.contains(&format!("/map/{}", "0".repeat(32)))
    );
}

//! What is let in, what is said to the rest, and what every answer carries.

use axum::{body::Body, http::Request};

use super::{FixedFarm, get, send, whole};

fn asked_of(host: &str) -> Request<Body> {
    Request::get("/round").header("host", host).body(Body::empty()).unwrap()
}

#[tokio::test]
async fn only_our_own_names_are_answered() {
    for host in
        ["localhost", "localhost:8423", "LOCALHOST", "127.0.0.1", "127.0.0.1:8423", "[::1]:8423", "127.8.8.8"]
    {
        assert_eq!(send(whole(), asked_of(host)).await.status, 200, "{host}");
    }
    for host in [
        "example.com",
        "example.com:8423",
        "localhost.example.com",
        "192.168.1.7",
        "",
        "localhost@evil",
        "[::1",
        "127.0.0.1.evil",
    ] {
        let page = send(whole(), asked_of(host)).await;
        assert_eq!(page.status, 421, "{host}");
        assert!(page.text.contains("What was kept"), "{host}");
        assert!(!page.text.contains("inflamed"), "{host}");
    }
    let nobody = Request::get("/round").body(Body::empty()).unwrap();
    assert_eq!(send(whole(), nobody).await.status, 421);
    let two = Request::get("/round")
        .header("host", "localhost")
        .header("host", "evil")
        .body(Body::empty())
        .unwrap();
    assert_eq!(send(whole(), two).await.status, 421);
}

#[tokio::test]
async fn a_farm_served_to_its_network_takes_addresses_and_no_names() {
    use tower::ServiceExt;
    let open = "0.0.0.0:8423".parse().unwrap();
    for (host, status) in [("192.168.1.7:8423", 200), ("10.0.0.2", 200), ("evil.example:8423", 421)] {
        let router = crate::web::router(std::sync::Arc::new(whole()), open);
        assert_eq!(router.oneshot(asked_of(host)).await.unwrap().status(), status, "{host}");
    }
}

#[tokio::test]
async fn every_answer_forbids_foreign_scripts_and_frames() {
    for address in ["/", "/herd", "/cow/214", "/nowhere", "/style.css", "/api/round", "/api/nowhere"] {
        let page = get(whole(), address).await;
        let policy = page.headers["content-security-policy"].to_str().unwrap();
        assert!(policy.starts_with("default-src 'none'"), "{address}");
        assert!(!policy.contains("unsafe"), "{address}");
        assert_eq!(page.headers["x-content-type-options"], "nosniff", "{address}");
        assert_eq!(page.headers["x-frame-options"], "DENY", "{address}");
        // What the policy forbids the pages must not need.
        if page.headers["content-type"] == "text/html; charset=utf-8" {
            assert!(
                !page.text.contains("<style")
                    && !page.text.contains(" style=")
                    && !page.text.contains(" onclick=")
            );
        }
    }
}

#[tokio::test]
async fn other_methods_and_large_bodies_are_turned_away() {
    for method in ["POST", "PUT", "DELETE", "PATCH"] {
        let request = Request::builder()
            .method(method)
            .uri("/round")
            .header("host", "localhost")
            .body(Body::empty())
            .unwrap();
        let page = send(whole(), request).await;
        assert_eq!(page.status, 405);
        assert_eq!(page.headers["allow"], "GET, HEAD");
        assert!(page.text.contains("nothing was changed"));
    }
    for length in ["65537", "99999999999999999999999", "-1", "many"] {
        let request = Request::post("/round")
            .header("host", "localhost")
            .header("content-length", length)
            .body(Body::empty())
            .unwrap();
        let page = send(whole(), request).await;
        assert_eq!(page.status, 413, "{length}");
        assert!(page.text.contains("cowpath import"));
    }
    let long = format!("/cow/{}", "x".repeat(5000));
    assert_eq!(get(whole(), &long).await.status, 414);
}

#[tokio::test]
async fn head_answers_like_get_without_the_page() {
    let head = Request::head("/round").header("host", "localhost").body(Body::empty()).unwrap();
    let head = send(whole(), head).await;
    let page = get(whole(), "/round").await;
    assert_eq!(head.status, 200);
    assert_eq!(head.text, "");
    assert_eq!(head.headers["etag"], page.headers["etag"]);
}

#[tokio::test]
async fn a_page_that_has_not_changed_is_not_sent_again() {
    let first = get(whole(), "/round").await;
    let mark = first.headers["etag"].to_str().unwrap().to_owned();
    assert_eq!(first.headers["cache-control"], "private, no-cache");
    let again =
        Request::get("/round").header("host", "localhost").header("if-none-match", &mark).body(Body::empty());
    let again = send(whole(), again.unwrap()).await;
    assert_eq!((again.status.as_u16(), again.text.as_str()), (304, ""));
    let mut changed = super::farm::full();
    changed.calls[0].why.push_str(" Seen again.");
    let request =
        Request::get("/round").header("host", "localhost").header("if-none-match", &mark).body(Body::empty());
    assert_eq!(send(FixedFarm::of(changed), request.unwrap()).await.status, 200);
}

#[tokio::test]
async fn style_and_script_are_kept_for_good_under_their_own_mark() {
    let page = get(whole(), "/round").await.text;
    for (before, name) in [("href=\"", "/style.css"), ("src=\"", "/pages.js")] {
        let from = page.find(&format!("{before}{name}?v=")).unwrap() + before.len();
        let link = &page[from..from + page[from..].find('"').unwrap()];
        let file = get(whole(), link).await;
        assert_eq!(file.status, 200);
        assert!(file.headers["cache-control"].to_str().unwrap().contains("immutable"), "{link}");
        assert_eq!(get(whole(), name).await.headers["cache-control"], "no-cache");
    }
}

#[tokio::test]
async fn words_that_are_not_understood_say_what_to_write() {
    for (address, says) in [
        ("/round?at=yesterday-ish", "2026-03-02T05:30"),
        ("/api/round?at=%3Cscript%3E", "2026-03-02T05:30"),
        ("/cow/214?from=2026-02-30", "is not a day of the calendar"),
        ("/cow/214?from=2026-03-02&to=2026-03-01", "before it begins"),
        ("/cow/214?instance=two", "whole number"),
        ("/round?at=%FF&at=2", "was not understood"),
    ] {
        let page = get(whole(), address).await;
        assert_eq!(page.status, 400, "{address}");
        assert!(page.text.contains(says), "{address}: {}", page.text);
        assert!(address.starts_with("/api") || !page.text.contains("<script>"), "{address}");
    }
}

#[tokio::test]
async fn a_store_that_fails_is_our_fault_and_nothing_is_lost() {
    let broken = FixedFarm { broken: Some("the farm's file is locked"), ..whole() };
    let page = get(broken, "/round").await;
    assert_eq!(page.status, 500);
    assert!(page.text.contains("The program says: the farm&#39;s file is locked."));
    assert!(page.text.contains("cowpath check"));
}

#[tokio::test]
async fn addresses_that_lead_nowhere_lead_on() {
    for address in ["/nowhere", "/cow/214/more", "/..", "/round/", "/static/../../etc/passwd"] {
        let page = get(whole(), address).await;
        assert_eq!(page.status, 404, "{address}");
        assert!(page.text.contains("href=\"/round\""), "{address}");
    }
    assert_eq!(get(whole(), "/api/nowhere").await.headers["content-type"], "application/json");
}

#[tokio::test]
async fn an_answer_that_stops_short_is_a_page_too() {
    let broken = FixedFarm { broken: Some("panic"), ..whole() };
    let page = get(broken, "/round").await;
    assert_eq!(page.status, 500);
    assert!(page.text.contains("What was kept"));
}

#[tokio::test]
async fn pages_are_sent_small_to_whoever_can_unpack() {
    use std::io::Read;
    let request =
        Request::get("/round").header("host", "localhost").header("accept-encoding", "br;q=1, gzip;q=0.8");
    use tower::ServiceExt;
    let router = crate::web::router(std::sync::Arc::new(whole()), super::listen());
    let response = router.oneshot(request.body(Body::empty()).unwrap()).await.unwrap();
    assert_eq!(response.headers()["content-encoding"], "gzip");
    assert_eq!(response.headers()["vary"], "accept-encoding");
    let packed = axum::body::to_bytes(response.into_body(), usize::MAX).await.unwrap();
    let mut text = String::new();
    flate2::read::GzDecoder::new(&packed[..]).read_to_string(&mut text).unwrap();
    let plain = get(whole(), "/round").await;
    assert_eq!(text, plain.text);
    assert!(packed.len() * 3 < text.len(), "{} of {} bytes", packed.len(), text.len());
    assert!(!plain.headers.contains_key("content-encoding"));
    let unwanted = Request::get("/round").header("host", "localhost").header("accept-encoding", "gzip;q=0");
    assert!(
        !send(whole(), unwanted.body(Body::empty()).unwrap()).await.headers.contains_key("content-encoding")
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn served_over_a_socket_until_told_to_stop() {
    use std::io::{Read, Write};
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let (stop, stopped) = tokio::sync::oneshot::channel::<()>();
    let served = tokio::spawn(crate::web::serve(listener, std::sync::Arc::new(whole()), async {
        let _ = stopped.await;
    }));
    let answers = tokio::task::spawn_blocking(move || {
        let ask = |text: &str| {
            let mut line = std::net::TcpStream::connect(address).unwrap();
            line.write_all(text.as_bytes()).unwrap();
            let mut answer = Vec::new();
            let _ = line.read_to_end(&mut answer);
            String::from_utf8_lossy(&answer).into_owned()
        };
        // The dots reach the server as they were sent, and still find no file.
        let rest = "HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n";
        [
            ask(&format!("GET /round {rest}")),
            ask(&format!("GET /cow/../../etc/passwd {rest}")),
            ask(&format!("GET /cow/..%2F..%2Fetc%2Fpasswd {rest}")),
            // A body without a length that never ends: answered, not awaited.
            ask("POST /round HTTP/1.1\r\nHost: localhost\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\nffffff\r\nx"),
            ask("no request at all\r\n\r\n"),
        ]
    })
    .await
    .unwrap();
    for (answer, status) in answers.iter().zip(["200", "404", "404", "405", "400"]) {
        assert!(answer.starts_with(&format!("HTTP/1.1 {status} ")), "{status}: {:.80}", answer);
    }
    assert!(answers[0].ends_with("</html>") || answers[0].ends_with("</html>\n"));
    stop.send(()).unwrap();
    served.await.unwrap().unwrap();
}

fn sent(address: &str, kind: &str, body: &str) -> Request<Body> {
    Request::post(address)
        .header("host", "localhost:8423")
        .header("origin", "http://localhost:8423")
        .header("content-type", kind)
        .body(Body::from(body.to_owned()))
        .unwrap()
}

#[tokio::test]
async fn an_answer_is_taken_from_a_form_and_from_a_program() {
    const FORM: &str = "application/x-www-form-urlencoded";
    let button = "call=214-udder-1&answer=other-quarter~~RF~&back=/cow/214";
    let page = send(whole(), sent("/found", FORM, button)).await;
    assert_eq!((page.status.as_u16(), &page.headers["location"]), (303, &"/cow/214?kept=7".parse().unwrap()));
    for back in ["https://example.com/", "//example.com", "/api/round", ""] {
        let body = format!("call=214-udder-1&answer=nothing~~~&back={back}");
        let page = send(whole(), sent("/found", FORM, &body)).await;
        assert_eq!(page.headers["location"], "/round?kept=7", "{back}");
    }
    let page = send(whole(), sent("/found", FORM, "call=9&answer=nothing~~~")).await;
    assert!(page.text.contains("no round ever showed a call") && page.text.contains("What was kept"));
    let page = send(whole(), sent("/found", FORM, "answer=nothing~~~")).await;
    assert!((400..500).contains(&page.status.as_u16()), "{}", page.status);
    let page = send(whole(), sent("/found/undo", FORM, "id=7")).await;
    assert_eq!(page.headers["location"], "/round?undone=7");

    let json = r#"{"call":"214-udder-1","outcome":"confirmed","sign":"clots"}"#;
    let answer = send(whole(), sent("/api/found", "application/json", json)).await;
    assert_eq!(answer.status, 201);
    let kept: serde_json::Value = serde_json::from_str(&answer.text).unwrap();
    assert_eq!((&kept["outcome"], &kept["sign"]), (&"confirmed".into(), &"clots".into()));
    let answer = send(whole(), sent("/api/found", "application/json", "{")).await;
    assert_eq!(answer.status, 400);
    assert!(answer.text.contains("\"do\""), "{}", answer.text);
    assert_eq!(send(whole(), sent("/api/found/7/undo", "application/json", "")).await.status, 204);
}

#[tokio::test]
async fn a_time_that_is_none_is_told_once_and_with_what_to_write() {
    for address in
        ["/round?at=tomorrow", "/bring-in?at=tomorrow", "/api/round?at=tomorrow", "/cow/214?at=tomorrow"]
    {
        let answered = get(whole(), address).await;
        assert_eq!(answered.status, 400, "{address}");
        assert!(
            answered.text.contains("is not a time") && answered.text.contains("2026-03-02T05:30"),
            "{address}"
        );
        // What the command line says in three lines stands in three places here.
        assert!(
            !answered.text.contains("Kept: ") && !answered.text.contains("Do: "),
            "{address}: {}",
            answered.text
        );
    }
}

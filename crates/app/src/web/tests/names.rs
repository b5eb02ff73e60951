//! Names of cows come from logs of any make: whatever they hold, a page shows them as they are and links lead to them.

use super::{
    farm::{self, FixedFarm, HARD_NAMES},
    get, whole,
};
use crate::web::{address, lanes::escaped};

#[tokio::test]
async fn every_hard_name_has_a_link_that_leads_to_its_page() {
    let herd = get(whole(), "/herd").await.text;
    for name in HARD_NAMES {
        let link = address::cow(name, None);
        assert!(herd.contains(&format!("href=\"{link}\"")), "the herd links {name} as {link}");
        let page = get(whole(), &link).await;
        assert_eq!(page.status, 200, "{name} at {link}");
        assert!(
            page.text.contains(&format!("<h1>Cow {}</h1>", same_as_page(name))),
            "{name} is the head of its page"
        );
        let json = get(whole(), &format!("/api{link}")).await;
        let cow: serde_json::Value = serde_json::from_str(&json.text).unwrap();
        assert_eq!(cow["animal"], name);
    }
}

#[tokio::test]
async fn no_name_becomes_markup() {
    for address in ["/herd", &address::cow(HARD_NAMES[0], None), &address::cow(HARD_NAMES[1], None)] {
        let page = get(whole(), address).await.text;
        assert!(!page.contains("<script>bad"), "{address}");
        assert!(!page.contains("<img"), "{address}");
    }
    let mut round = farm::full();
    round.farm = "<script>bad(2)</script>".into();
    round.places[0].name = "<b>Pen</b>".into();
    round.quiet.not_judged[0].animal = HARD_NAMES[1].into();
    for call in &mut round.calls {
        for text in [&mut call.says, &mut call.action, &mut call.why, &mut call.others_words] {
            text.push_str("<script>bad(3)</script>\"'");
        }
        call.sentence = format!("{}: {}", HARD_NAMES[0], call.says);
        call.animal = Some(HARD_NAMES[0].into());
        call.cautions.push("<script>bad(4)</script>".into());
        for reason in &mut call.reasons {
            reason.name_words = "<script>bad(5)</script>".into();
            reason.value_words = "<script>bad(6)</script>".into();
        }
        if let Some(lanes) = &mut call.lanes {
            lanes.title = "</title><script>bad(7)</script>".into();
            lanes.description = "</desc><script>bad(8)</script>".into();
            lanes.days[3].1 = "<script>bad(9)</script>".into();
            lanes.marks[0].word = "<script>bad(10)</script>".into();
            for lane in &mut lanes.lanes {
                for text in [&mut lane.name, &mut lane.unit, &mut lane.last, &mut lane.usual] {
                    *text = "<script>bad(11)</script>".into();
                }
            }
        }
    }
    let page = get(FixedFarm::of(round), "/round?at=2026-03-02T05:30").await.text;
    // The one script is the page's own file.
    assert_eq!(page.matches("<script").count(), 1);
    assert!(!page.contains("<b>Pen"));
    assert!(!page.contains("<img"));
}

#[tokio::test]
async fn a_cow_nobody_knows_is_said_plainly() {
    let page = get(whole(), "/cow/%3Cscript%3E?from=&to=").await;
    assert_eq!(page.status, 404);
    assert!(
        page.text.contains(&format!("No row and no herd list names a cow “{}”", same_as_page("<script>")))
    );
    let json = get(whole(), "/api/cow/nobody").await;
    assert_eq!(json.status, 404);
    assert_eq!(json.headers["content-type"], "application/json");
    let said: serde_json::Value = serde_json::from_str(&json.text).unwrap();
    assert_eq!(said["happened"], "No row and no herd list names a cow “nobody”.");
}

#[tokio::test]
async fn a_name_that_is_no_text_is_said_plainly() {
    let page = get(whole(), "/cow/%FF%FE").await;
    assert_eq!(page.status, 400);
    assert!(page.text.contains("was not understood"));
}

#[test]
fn a_link_keeps_the_time_asked_for() {
    assert_eq!(address::cow("214", Some("2026-03-02T05:30")), "/cow/214?at=2026-03-02T05%3A30");
    assert_eq!(address::cow("..", Some("now")), "/cow?animal=..&at=now");
    assert_eq!(address::cow("a/b", None), "/cow/a%2Fb");
}

/// The text as the templates escape it: their numbers for signs, ours for letters.
fn same_as_page(text: &str) -> String {
    escaped(text)
        .replace("&lt;", "&#60;")
        .replace("&gt;", "&#62;")
        .replace("&quot;", "&#34;")
        .replace("&amp;", "&#38;")
}

//! What a page says when there is everything, nothing, or too much.

use super::{
    farm::{self, FixedFarm},
    get, whole,
};
use crate::web::Round;

/// The text of a page: tags out, white space as one blank, pictures and their tables left out.
fn text_of(page: &str) -> String {
    let main = &page[page.find("<main").unwrap()..page.find("</main>").unwrap()];
    let mut out = String::new();
    let mut rest = main;
    while let Some(start) = rest.find("<figure") {
        out.push_str(&rest[..start]);
        out.push_str(" [picture] ");
        rest = &rest[start + rest[start..].find("</figure>").unwrap() + "</figure>".len()..];
    }
    out.push_str(rest);
    let mut text = String::new();
    let mut inside = false;
    for letter in out.chars() {
        match letter {
            '<' => inside = true,
            '>' => inside = false,
            _ if !inside => text.push(letter),
            _ => {}
        }
    }
    let lines: Vec<String> = text
        .lines()
        .map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "))
        .filter(|line| !line.is_empty())
        .collect();
    lines.join("\n")
}

#[tokio::test]
async fn the_round_reads_as_one_walks() {
    let page = get(whole(), "/").await;
    assert_eq!(page.status, 200);
    insta::assert_snapshot!("round", text_of(&page.text));
}

#[tokio::test]
async fn the_cow_reads_from_how_she_is_to_her_rows() {
    let mut shown = super::her::cow("214", 10);
    shown.rows.truncate(2);
    let farm = FixedFarm { cow: shown, ..whole() };
    insta::assert_snapshot!("cow", text_of(&get(farm, "/cow/214").await.text));
}

#[tokio::test]
async fn a_farm_without_rows_says_what_to_do_first() {
    let text = text_of(&get(FixedFarm::of(farm::without_calls(0, 0)), "/round").await.text);
    assert!(text.contains("Nothing has been read yet."));
    assert!(text.contains("cowpath import"));
    let empty = FixedFarm { herd: Vec::new(), ..FixedFarm::of(farm::without_calls(0, 0)) };
    assert!(text_of(&get(empty, "/herd").await.text).contains("No cow is known yet."));
}

#[tokio::test]
async fn a_farm_whose_cows_have_all_gone_is_not_an_empty_one() {
    let gone = Round { last_row_words: "2 March 2026".into(), ..farm::without_calls(0, 0) };
    let page = get(FixedFarm::of(gone), "/round").await;
    assert!(page.text.contains("No cow could be judged") && !page.text.contains("Nothing has been read"));
    assert!(!page.text.contains("class=\"drop\""));
}

#[tokio::test]
async fn a_farm_with_but_a_herd_list_takes_the_visits_next() {
    let listed = Round { last_row_words: String::new(), ..farm::without_calls(0, 3) };
    let page = get(FixedFarm::of(listed), "/round").await;
    assert!(
        page.text.contains("No cow could be judged") && page.text.contains("class=\"drop\""),
        "{}",
        page.text
    );
    assert!(page.text.contains("/cow/300"));
}

#[tokio::test]
async fn no_calls_is_good_news_with_what_was_judged() {
    let text = text_of(&get(FixedFarm::of(farm::without_calls(118, 3)), "/round").await.text);
    assert!(text.contains("Nothing needs you."));
    assert!(text.contains("118 cows"));
    assert!(text.contains("3 cows not judged, and why"));
}

#[tokio::test]
async fn a_herd_too_new_to_judge_says_so_and_lists_them() {
    let page = get(FixedFarm::of(farm::without_calls(0, 44)), "/round").await.text;
    let text = text_of(&page);
    assert!(text.contains("No cow could be judged yet."));
    assert!(text.contains("44 cows not judged, and why"));
    assert!(text.contains("343"));
    assert!(!text.contains("Nothing needs you."));
    // One reason is said once.
    assert_eq!(text.matches("fewer than three milkings since calving").count(), 1);
}

#[tokio::test]
async fn a_round_too_long_to_walk_still_has_every_call() {
    let page = get(FixedFarm::of(farm::too_many()), "/round").await;
    assert_eq!(page.text.matches("name=\"call\" id=").count(), 24);
    assert_eq!(page.text.matches("<svg class=\"lanes desk\"").count(), 24);
    assert!(page.text.len() < 2_500_000, "{} bytes", page.text.len());
}

#[tokio::test]
async fn a_place_that_names_a_call_that_is_not_there_is_left_out() {
    let mut round = farm::full();
    round.places[3].calls = vec![99];
    let page = get(FixedFarm::of(round), "/round").await;
    assert_eq!(page.status, 200);
    assert!(!page.text.contains("<h2>Herd</h2>"));
}

#[tokio::test]
async fn the_first_call_is_open_and_only_one_opens_at_a_time() {
    let page = get(whole(), "/round").await.text;
    assert_eq!(page.matches("name=\"call\" id=").count(), 6);
    assert_eq!(page.matches("name=\"call\" id=\"call1\" open>").count(), 1);
    assert_eq!(page.matches(" open>").count(), 1);
}

#[tokio::test]
async fn the_words_of_the_time_asked_for_stay_in_the_links() {
    let page = get(whole(), "/round?at=2026-03-02T05:30").await.text;
    assert!(page.contains("href=\"/cow/214?at=2026-03-02T05%3A30\""));
    assert!(page.contains("To the newest round"));
    let cow = get(whole(), "/cow/214?at=2026-03-02T05:30").await.text;
    assert!(cow.contains("href=\"/cow/214?at=2026-03-02T05%3A30&#38;from=2026-02-22&#38;to=2026-03-03\""));
    assert!(cow.contains("<input type=\"hidden\" name=\"at\" value=\"2026-03-02T05:30\">"));
}

#[tokio::test]
async fn the_api_gives_the_contract() {
    let answer = get(whole(), "/api/round").await;
    assert_eq!(answer.headers["content-type"], "application/json");
    let round: serde_json::Value = serde_json::from_str(&answer.text).unwrap();
    assert_eq!(round["calls"][0]["animal"], "214");
    assert_eq!(round["calls"][0]["box"], serde_json::Value::Null);
    assert_eq!(round["calls"][0]["do"].as_str().unwrap().get(..8), Some("Keep her"));
    assert_eq!(round["quiet"]["cows"], 118);
    let herd: serde_json::Value = serde_json::from_str(&get(whole(), "/api/herd").await.text).unwrap();
    assert_eq!(herd[0]["animal"], "214");
}

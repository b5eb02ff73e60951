//! What is said of what cannot be said.

use super::Unsaid;

#[test]
fn it_is_one_sentence_and_none_where_all_is_known() {
    let of = |words: &str| Unsaid::of(words.split_whitespace()).sentence();
    assert_eq!(of(""), None);
    assert_eq!(
        of("turned-away").unwrap(),
        "Turned-away visits are not known from this source: unknown, not zero."
    );
    assert_eq!(
        of("turned-away fed-only").unwrap(),
        "Turned-away and feed-only visits are not known from this source: unknown, not zero."
    );
    assert_eq!(
        of(cowpath_import::ade::CANNOT_SAY).unwrap(),
        "Turned-away and feed-only visits, where milk went, kicked-off cups, flows at take-off and times of entry are not known from this source: unknown, not zero."
    );
}

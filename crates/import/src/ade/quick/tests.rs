//! Is whatever is read quickly read as the parser proper reads it?

use super::parse;
use crate::ade::tree;
use proptest::prelude::*;

fn same(text: &str) -> Result<bool, TestCaseError> {
    let slow = tree::parse_slowly(text.as_bytes());
    let Some(quick) = parse(text) else { return Ok(false) };
    let slow = slow.map_err(|why| TestCaseError::fail(format!("{text:?} was read and is {why}")))?;
    prop_assert_eq!(quick, slow, "{}", text);
    Ok(true)
}

proptest! {
    #[test]
    fn whatever_is_read_quickly_is_read_alike(text in "[-0-9.eE+tfrualsn\"\\\\{}\\[\\]:, \nä\u{1}]{0,24}") {
        same(&text)?;
    }

    #[test]
    fn figures_are_read_alike(figure in -1e6_f64..1e6, decimals in 0_usize..12, start in "(-|0|00|-0|)") {
        same(&format!("{start}{figure:.decimals$}"))?;
    }
}

#[test]
fn plain_values_are_read_quickly_and_others_left() {
    for text in [
        r#" {"a": [1, -2.50, 0, 0.125], "ä": {"b": "ü", "c": true}, "d": null, "e": [], "f": {}} "#,
        "12.345678901",
        r#""x""#,
    ] {
        assert!(same(text).unwrap(), "{text}");
    }
    for text in [
        "01",
        "1.",
        ".5",
        "--1",
        "1e3",
        "1-2",
        "\"a\\u0041\"",
        "\"\n\"",
        r#"{"a":1,"a":2}"#,
        "[1,]",
        "[1 2]",
        "{\"a\" 1}",
        "nul",
        "1.2.3",
        "",
        "[",
        "1 1",
        "1234567890123456789",
    ] {
        assert!(parse(text).is_none(), "{text}");
    }
}

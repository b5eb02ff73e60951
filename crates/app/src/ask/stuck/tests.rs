//! What Records says of sensors that are stuck, on ten days of twelve cows whose readings were changed on the seventh.

use crate::ask::scales::tests::told;

#[test]
fn a_column_of_one_tag_is_named_with_its_cow() {
    let silent = told(|_, cow, told| {
        if cow == 5 {
            told.rumination = 0.0;
        } else if cow == 8 {
            told.activity = 0.0;
        }
    });
    let said: Vec<_> = silent.iter().map(|one| (one.signal.as_str(), one.animals.join(" "))).collect();
    assert_eq!(said, [("rumination", "5".to_owned()), ("activity", "8".to_owned())], "{silent:?}");
    assert!(
        silent[0]
            .sentence
            .starts_with("Rumination of 5 is exactly 0 since Saturday 00:00: is her sensor broken?"),
        "{}",
        silent[0].sentence
    );
}

#[test]
fn zeros_of_all_tags_are_named_once() {
    let silent = told(|_, _, told| told.rumination = 0.0);
    let [one] = silent.as_slice() else { panic!("{silent:?}") };
    assert!(one.animals.is_empty() && one.box_name.is_none(), "{one:?}");
    assert!(
        one.sentence
            .starts_with("Rumination of the whole herd is exactly 0 since Saturday 00:00. No herd does that"),
        "{}",
        one.sentence
    );
}

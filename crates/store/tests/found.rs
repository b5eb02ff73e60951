//! What was shown and what was found stay for ever, and an answer sent twice is one answer.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic)]

mod common;

use common::{assert_whole, farm, minute};
use cowpath_store::{NewFound, ShownCall};

fn call(id: &str, probability: f64, urgency: &str) -> ShownCall {
    ShownCall {
        call: id.into(),
        subject: "cow".into(),
        animal: Some("214".into()),
        box_name: None,
        cause: "udder".into(),
        quarter: Some("LR".into()),
        probability,
        urgency: urgency.into(),
        since: minute(0),
        sentence: format!("214: {probability}"),
        place: "Pen 2".into(),
        model: "m".into(),
        others: Default::default(),
        learned: Default::default(),
    }
}

fn found(call: &str, outcome: &str, minutes: i64, sent_as: Option<&str>) -> NewFound {
    NewFound {
        call: call.into(),
        outcome: outcome.into(),
        cause: None,
        quarter: None,
        sign: Some("clots".into()),
        note: None,
        by: Some("Ann".into()),
        found_at: minute(minutes),
        sent_as: sent_as.map(str::to_owned),
    }
}

#[test]
fn a_call_keeps_its_first_round_and_is_told_as_it_was_shown_last() {
    let (_folder, mut farm) = farm();
    farm.note_shown(minute(60), true, &[call("a", 0.7, "today")]).unwrap();
    farm.note_shown(minute(120), true, &[call("a", 0.9, "now"), call("b", 0.2, "watch")]).unwrap();
    // An earlier round, asked for later: only the beginning moves.
    farm.note_shown(minute(30), false, &[call("a", 0.3, "now")]).unwrap();
    let kept = farm.shown_call("a").unwrap().unwrap();
    assert_eq!((kept.first_at, kept.last_at), (minute(30), minute(120)));
    assert_eq!(
        (kept.walked_at, kept.now_at),
        (Some(minute(60)), Some(minute(120))),
        "a past round is no walk"
    );
    assert_eq!((kept.shown.probability, kept.shown.urgency.as_str()), (0.9, "now"));
    let names = |from, at| -> Vec<String> {
        farm.shown_since(minute(from), minute(at)).unwrap().into_iter().map(|kept| kept.shown.call).collect()
    };
    assert_eq!(names(0, 200), ["a", "b"]);
    assert_eq!(names(0, 100), ["a"], "b was not known yet");
    assert_eq!(names(130, 200), Vec::<String>::new());
    assert_eq!(farm.shown_call("c").unwrap(), None);
    assert_whole(&farm);
}

#[test]
fn an_answer_stays_is_one_when_sent_twice_and_is_taken_back_once() {
    let (_folder, mut farm) = farm();
    assert_eq!(farm.note_found(&found("a", "confirmed", 70, None)).unwrap(), None, "no round showed it");
    farm.note_shown(minute(60), true, &[call("a", 0.7, "today")]).unwrap();
    let before = farm.found_mark().unwrap();
    let first = farm.note_found(&found("a", "confirmed", 70, Some("x"))).unwrap().unwrap();
    assert_eq!(farm.note_found(&found("a", "nothing", 71, Some("x"))).unwrap(), Some(first));
    let second = farm.note_found(&found("a", "nothing", 80, None)).unwrap().unwrap();
    assert_ne!(farm.found_mark().unwrap(), before);
    let all = farm.found_by(minute(100)).unwrap();
    assert_eq!(all.iter().map(|one| one.id).collect::<Vec<_>>(), [first, second]);
    assert_eq!(all[0].what, found("a", "confirmed", 70, Some("x")));
    assert_eq!(all[0].called, ("udder".into(), Some("LR".into()), 0.7, "today".into()));
    assert_eq!(farm.found_by(minute(75)).unwrap().len(), 1, "what was found later is not known yet");
    let mark = farm.found_mark().unwrap();
    assert!(farm.undo_found(first, minute(90), Some("Bo")).unwrap());
    assert_ne!(farm.found_mark().unwrap(), mark);
    assert!(!farm.undo_found(first, minute(95), None).unwrap(), "once");
    assert!(!farm.undo_found(999, minute(95), None).unwrap());
    assert_eq!(farm.found_by(minute(100)).unwrap()[0].undone, Some((minute(90), Some("Bo".into()))));
    assert!(farm.note_found(&found("a", "well", 80, None)).is_err(), "no such outcome");
    assert_whole(&farm);
}

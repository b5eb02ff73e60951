//! Are truth and logs read as they stand, and do the simple rules say what their words say?

use jiff::{SignedDuration, Timestamp};

use super::{
    super::{
        page,
        rules::{self, Mark},
        truth::{self, Truth},
        without::Dropped,
    },
    h,
};

#[test]
fn truth_is_read_with_the_hour_a_drift_has_grown() {
    let dir = tempfile::tempdir().unwrap();
    let write = |name: &str, text: &str| std::fs::write(dir.path().join(name), text).unwrap();
    write(
        "cases.csv",
        "case,animal,kind,form,quarter,began_at,first_sign_at,noticed_at,treated_at,ended_at,severity,clinical,conductivity_rise_ms_cm,milk_loss_pct\n\
         1,7,udder,fast,LR,2026-01-01T00:00:00Z,2026-01-01T05:00:00Z,,,,0.5,1,2.1,25.0\n",
    );
    write(
        "box-faults.csv",
        "box,kind,quarter,form,from,full_at,to,size\n\
         1,milk-meter,,drift,2026-01-01T00:00:00Z,2026-01-11T00:00:00Z,2026-01-20T00:00:00Z,-0.12\n\
         1,milk-meter,,drift,2026-01-01T00:00:00Z,2026-01-11T00:00:00Z,2026-01-20T00:00:00Z,0.05\n\
         2,feed-dispenser,,drift,2026-01-01T00:00:00Z,2026-01-11T00:00:00Z,2026-01-20T00:00:00Z,0.7\n\
         2,attachment,LF,step,2026-01-01T00:00:00Z,2026-01-01T00:00:00Z,2026-01-20T00:00:00Z,0.3\n",
    );
    write(
        "happenings.csv",
        "kind,animal,box,quarter,from,to,size\ntag-lost,7,,,2026-01-01T00:00:00Z,2026-01-02T00:00:00Z,\n",
    );
    let Truth { cases, faults, happenings } = truth::read(dir.path()).unwrap();
    assert_eq!((cases[0].noticed, cases[0].ended, cases[0].milk_loss), (None, Timestamp::MAX, 0.25));
    let due: Vec<Option<String>> = faults.iter().map(|own| own.due.map(|due| due.to_string())).collect();
    let at = |word: &str| Some(word.to_owned());
    assert_eq!(
        due,
        [at("2026-01-06T00:00:00Z"), None, at("2026-01-03T00:00:00Z"), at("2026-01-01T00:00:00Z")]
    );
    assert_eq!(happenings[0].animal.as_deref(), Some("7"));
}

/// Logs of one cow: a milking every 12 h, the last one as told, and what the rules say at the two rounds after it.
fn ruled(last: &str, movement: &str) -> [Vec<Mark>; 3] {
    let dir = tempfile::tempdir().unwrap();
    let mut visits = String::from("animal,started_at,ended_at,milk_kg,lr_ms_cm\n");
    for place in 0..20 {
        let at = h(12.0 * f64::from(place));
        visits += &format!("7,{at},{},12,5.0\n", at + SignedDuration::from_mins(6));
    }
    visits += last;
    std::fs::write(dir.path().join("visits.csv"), visits).unwrap();
    std::fs::write(dir.path().join("movement.csv"), movement).unwrap();
    let files = ["visits.csv", "movement.csv"].map(|name| dir.path().join(name));
    rules::marks(&files, &[h(239.0), h(251.0)]).unwrap()
}

#[test]
fn the_rules_say_what_their_words_say() {
    let milking = |milk: &str, ms_cm: &str| format!("7,{},{},{milk},{ms_cm}\n", h(240.0), h(240.1));
    let none = "animal,from,minutes,activity\n";
    let [conductivity, ..] = ruled(&milking("12", "5.80"), none);
    assert_eq!(conductivity.len(), 1);
    assert_eq!((conductivity[0].at, conductivity[0].quarter.as_deref()), (h(251.0), Some("LR")));
    assert!((conductivity[0].strength - 0.16).abs() < 1e-9);
    let [_, _, milk] = ruled(&milking("6", "5.0"), none);
    // 6 and 12 kg in 24 h against 24 kg a day.
    assert!((milk.last().unwrap().strength - 0.25).abs() < 1e-9, "{milk:?}");
    let mut movement = none.to_owned();
    for bin in 0..126 {
        let loud = if (120..123).contains(&bin) { 90 } else { 30 };
        movement += &format!("7,{},120,{loud}\n", h(2.0 * f64::from(bin)));
    }
    let [_, activity, _] = ruled("", &movement);
    // Bins from 240 to 246 h at three times her usual, closed by the second round only.
    assert_eq!(activity.iter().map(|mark| mark.at).collect::<Vec<_>>(), [h(251.0)]);
    assert!((activity[0].strength - 2.0).abs() < 1e-9);
}

#[test]
fn a_rule_knows_nothing_later_than_its_round() {
    let after = format!("7,{},{},2,9.0\n", h(251.0), h(251.1));
    let marks = ruled(&after, "animal,from,minutes,activity\n");
    assert!(marks.iter().all(Vec::is_empty), "{marks:?}");
}

#[test]
fn left_out_columns_are_not_in_the_logs() {
    let dir = tempfile::tempdir().unwrap();
    let (logs, into) = (dir.path().join("logs"), dir.path().join("into"));
    std::fs::create_dir_all(&logs).unwrap();
    std::fs::write(
        logs.join("visits.csv"),
        "animal,milk_kg,lf_kg,lf_ms_cm,lf_s,started_at\n7,12,3,5.0,200,x\n",
    )
    .unwrap();
    std::fs::write(logs.join("movement.csv"), "animal,from,activity,steps\n7,x,30,100\n").unwrap();
    let words = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect::<Vec<_>>();
    let read = |left: &[&str]| {
        let files = Dropped::of(&words(left)).unwrap().files(&logs, &into.join(left.join("-"))).unwrap();
        files.iter().map(|path| std::fs::read_to_string(path).unwrap()).collect::<Vec<_>>()
    };
    assert_eq!(read(&["quarter-milk"])[1], "animal,milk_kg,lf_ms_cm,lf_s,started_at\n7,12,5.0,200,x\n");
    assert_eq!(read(&["conductivity", "flow"])[1], "animal,milk_kg,lf_kg,started_at\n7,12,3,x\n");
    assert_eq!(read(&["activity"])[0], "animal,from\n7,x\n");
    assert_eq!(read(&["movement"]).len(), 1);
    assert_eq!(Dropped::of(&words(&["conductivity", "tail"])), Err("tail"));
}

#[test]
fn a_place_of_a_page_is_filled_and_a_page_without_it_is_not() {
    let page_text = "before\n<!-- a: begin, written by x -->\nold\n<!-- a: end -->\nafter\n";
    assert_eq!(
        page::put(page_text, "a", "new\n\n").unwrap(),
        "before\n<!-- a: begin, written by x -->\nnew\n<!-- a: end -->\nafter\n"
    );
    assert_eq!(page::put(page_text, "b", "new"), None);
}

//! What a standstill says while it goes on and after.

use insta::assert_snapshot;
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::{super::call, *};
use crate::{
    causes::{Finding, Reason, Subject, Urgency},
    herd::BoxKey,
};

fn told(goes_on: bool) -> Said {
    let at: Timestamp = "2026-03-03T05:30:00-05:00".parse().unwrap();
    let since = at - SignedDuration::from_hours(9);
    let finding = Finding {
        subject: Subject::Box(BoxKey(0)),
        cause: Cause::IdleFault,
        quarter: None,
        probability: 0.93,
        others: vec![(Cause::Well, 0.07)],
        urgency: Urgency::Now,
        since,
        since_between: (since, since),
        episode: since,
        worth: 50.0,
        severity: 1.0,
        reasons: vec![Reason {
            signal: Signal::Visits,
            quarter: None,
            observed: 0.0,
            expected: 160.0,
            weight: 9.0,
        }],
    };
    let fault = BoxFault {
        finding,
        level: 9.0,
        readings: 0,
        cows: 0,
        instead: None,
        tank_says: false,
        frozen: None,
        goes_on,
        course: Vec::new(),
    };
    let zone = TimeZone::get("America/New_York").unwrap();
    let facts = Facts {
        animal: None,
        box_name: Some("1"),
        at,
        zone: &zone,
        units: UnitSystem::Metric,
        days_in_milk: None,
        may_be_in_tank: &[],
        held_by_log: &[],
        destination_logged: false,
        diagnosed_at: None,
        in_calf: false,
        inseminated_at: None,
        noted_at: None,
    };
    let mut said = call(&fault.finding, &facts);
    tell(&mut said, &fault, None, &facts);
    said
}

#[test]
fn a_standstill_that_goes_on_may_be_a_late_log_and_says_so() {
    let plain = |said: Said| [said.sentence, said.why, said.decide].join(" ").replace(number::SPACE, " ");
    assert_snapshot!(plain(told(true)), @"Box 1: it has stood still for 9.0 h without saying why, 93 % sure. No row of a visit since yesterday 20:30; by its own visits at those hours 60 would have come. No row says that it was cleaned, served or off. What would decide: whether a cow can go in. If one can, its log has not come: read it, and this call goes.");
    assert_snapshot!(plain(told(false)), @"Box 1: it stood still for 9.0 h without saying why, 93 % sure. From yesterday 20:30 no cow was let in; by its own visits at those hours 60 would have come. No row says that it was cleaned, served or off. What would decide: the messages of the box at that time.");
}

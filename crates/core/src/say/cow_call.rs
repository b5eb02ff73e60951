//! In which words is it said what may be the matter with a cow, and what to do?

use jiff::{SignedDuration, Timestamp};

use super::{
    call::{Facts, by_certainty},
    number, reason, when,
};
use crate::{
    causes::{Cause, Finding, Reason, Urgency, templates::lowers},
    expect::Signal,
    time::hours_between,
};

/// Service best 13 to 24 h after activity rises (`sources.md` §4.3: 34 and 32 % of services held, 30 % and less outside).
pub const SERVE_FROM_H: i64 = 13;
/// End of the best window for service, h after activity rises.
pub const SERVE_UNTIL_H: i64 = 24;
/// When milk is expected back to normal after the rise of activity, h. Stated default: the day of heat and the night after it.
const MILK_BACK_H: i64 = 36;
/// Days after calving before which few farms serve (`sources.md` §8, voluntary wait 50 to 60 d, common practice).
const SERVED_FROM_D: f64 = 50.0;
/// Weight from which a reason is named in the sentence, natural units.
const TELLING: f64 = 0.5;

/// The sentence without her number.
pub fn says(finding: &Finding, facts: &Facts) -> String {
    let verb = by_certainty(finding.probability, "looks", "may be", "could be");
    let sure = number::chance(finding.probability);
    match finding.cause {
        Cause::Udder => {
            let quarter = finding.quarter.map_or("a quarter", |quarter| quarter.words());
            format!("{quarter} {verb} inflamed, {sure} sure.")
        }
        Cause::Heat => heat(finding, facts, verb, &sure),
        Cause::Metabolic => format!("{verb} short of energy, {}; {sure} sure.", signs(finding)),
        Cause::Gut => {
            let verb = by_certainty(
                finding.probability,
                "looks as if rumen or gut is",
                "rumen or gut may be",
                "rumen or gut could be",
            );
            format!("{verb} out of order, {}; {sure} sure.", signs(finding))
        }
        Cause::Feet => {
            let verb = by_certainty(
                finding.probability,
                "looks lame or sore-footed",
                "may be lame",
                "could be lame",
            );
            format!("{verb}, {}; {sure} sure.", signs(finding))
        }
        Cause::Fever => format!("{verb} ill all over, {}; {sure} sure.", signs(finding)),
        Cause::Unclear if is_away(finding) => format!(
            "no visit to a box since {}; {sure} sure that something keeps her.",
            when::instant(finding.since, facts.at, facts.zone)
        ),
        Cause::Unclear => format!("{verb} unwell, {}; {sure} sure.", signs(finding)),
        _ => "nothing differs.".to_owned(),
    }
}

/// She has not been in a box for longer than her habit: the one reading is that there was no visit.
fn is_away(finding: &Finding) -> bool {
    matches!(finding.reasons[..], [Reason { signal: Signal::Visits, observed: 0.0, .. }])
}

/// `looks in heat since 22:00 yesterday, 91 % sure. Best served …`; where milk fell with it, that too, in one sentence.
fn heat(finding: &Finding, facts: &Facts, verb: &str, sure: &str) -> String {
    let since = when::instant(finding.since, facts.at, facts.zone);
    let mut text = format!("{verb} in heat since {since}, {sure} sure");
    if let Some(share) = milk_down(finding)
        && let Some(back) = after(finding.since, MILK_BACK_H)
    {
        let down = number::percent(share);
        if facts.at < back {
            text.push_str(&format!(
                "; that explains {down} less milk, expected back by {}",
                when::instant(back, facts.at, facts.zone)
            ));
        } else {
            text.push_str(&format!("; that explained {down} less milk, which should be back"));
        }
    }
    text.push('.');
    text
}

/// The share of milk that is missing, where milk speaks for it and no other cause of hers, likelier than this one, explains it.
fn milk_down(finding: &Finding) -> Option<f64> {
    let likelier = |(cause, chance): &(Cause, f64)| cause.is_illness() && finding.probability < *chance;
    if finding.others.iter().any(likelier) {
        return None;
    }
    finding
        .reasons
        .iter()
        .find(|reason| reason.signal == Signal::Milk && 0.0 < reason.weight)
        .map(|reason| 1.0 - reason.observed / reason.expected)
        .filter(|share| 0.04 <= *share)
}

fn after(since: Timestamp, hours: i64) -> Option<Timestamp> {
    since.checked_add(SignedDuration::from_hours(hours)).ok()
}

/// What speaks for a finding, by name and direction: `with less milk and longer between milkings`.
fn signs(finding: &Finding) -> String {
    // A mean that goes the other way than the cause does would belie the sentence; it stands in the table.
    let with_it = |reason: &&Reason| {
        lowers(finding.cause, reason.signal)
            .is_none_or(|lowers| lowers == (reason.observed < reason.expected))
    };
    let borne: Vec<&Reason> = finding.reasons.iter().filter(with_it).collect();
    let telling: Vec<&Reason> =
        borne.iter().copied().filter(|reason| TELLING <= reason.weight).take(4).collect();
    let telling = if telling.is_empty() { borne.into_iter().take(1).collect() } else { telling };
    let mut words: Vec<String> = Vec::new();
    for reason in telling {
        let said = sign(reason);
        if !words.contains(&said) {
            words.push(said);
        }
    }
    if words.is_empty() { "no one sign stands out".to_owned() } else { when::join(&words) }
}

fn sign(of: &Reason) -> String {
    let more = of.expected < of.observed;
    let named = |less: &str, more_words: &str| if more { more_words.to_owned() } else { less.to_owned() };
    match of.signal {
        Signal::Milk => named("less milk", "more milk"),
        Signal::Interval => named("shorter between milkings", "longer between milkings"),
        Signal::Rumination => named("less rumination", "more rumination"),
        Signal::Activity => named("less movement", "more movement"),
        Signal::Eating => named("less time eating", "more time eating"),
        Signal::Lying => named("less lying", "more lying"),
        Signal::Feed => named("feed left in the box", "box feed eaten up"),
        Signal::Visits => named("fewer visits", "more visits"),
        Signal::Weight => named("lighter", "heavier"),
        Signal::FatProtein => named("fat low beside protein", "fat high beside protein"),
        Signal::MilkTemperature => named("cooler milk", "warmer milk"),
        Signal::Cells => named("fewer cells", "more cells"),
        Signal::Blood => named("less blood in milk", "blood in milk"),
        Signal::Lactose => named("less lactose", "more lactose"),
        other => format!("{} unlike hers", reason::signal(other, of.quarter)),
    }
}

/// What to do.
pub fn action(finding: &Finding, facts: &Facts) -> String {
    let quarter = finding.quarter.map_or("all four quarters", |quarter| quarter.words());
    let text = match (finding.cause, finding.urgency) {
        (Cause::Udder, Urgency::Now) => {
            return format!(
                "Keep her milk out of the tank until someone has looked. Bring her in and strip {quarter}."
            );
        }
        (Cause::Udder, Urgency::Today) => {
            return format!(
                "Strip {quarter} today and feel it. Clots, watery or bloody milk: keep her milk out of the tank."
            );
        }
        (Cause::Udder, Urgency::Watch) => {
            return format!("Look at the foremilk of {quarter} when you pass her.");
        }
        (Cause::Heat, _) => return serve(finding, facts),
        (Cause::Metabolic, Urgency::Watch) => {
            "Look at her when you pass: does she eat, is her left side full?"
        }
        (Cause::Metabolic, _) => {
            "Look at her today: appetite, dung, left side. Test ketones in her blood or milk as agreed with the veterinarian."
        }
        (Cause::Gut, Urgency::Now) => {
            "Go to her now: does she eat, is her left side hollow or tight? Off feed after calving: call the veterinarian today."
        }
        (Cause::Gut, Urgency::Today) => "Look at her today: appetite, dung, left side, temperature.",
        (Cause::Gut, Urgency::Watch) => "Look at her when you pass: does she eat and chew her cud?",
        (Cause::Feet, Urgency::Watch) => "Watch her walk when you pass.",
        (Cause::Feet, _) => "Watch her stand and walk today; lift the foot she spares.",
        (Cause::Fever, Urgency::Now) => {
            "Go to her now: take her temperature, look at breathing, udder, womb."
        }
        (Cause::Fever, Urgency::Today) => "Take her temperature today; look at breathing, udder and womb.",
        (Cause::Fever, Urgency::Watch) => "Look at her when you pass: is she dull, are her ears warm?",
        (Cause::Unclear, _) if is_away(finding) => {
            "Look for her: shut in, milked elsewhere, a lost tag, or down."
        }
        (Cause::Unclear, Urgency::Now) => {
            "Go to her now: is she eating, standing well, warm? Strip all four quarters."
        }
        (Cause::Unclear, Urgency::Today) => {
            "Look at her today: appetite, dung, feet, temperature; strip all four quarters."
        }
        (Cause::Unclear, Urgency::Watch) => "Look at her when you pass: does she eat and walk as usual?",
        _ => "Nothing to do.",
    };
    text.to_owned()
}

/// When she is best served; what speaks against serving her.
fn serve(finding: &Finding, facts: &Facts) -> String {
    let words = |then: Timestamp| when::instant(then, facts.at, facts.zone);
    let window = after(finding.since, SERVE_FROM_H).zip(after(finding.since, SERVE_UNTIL_H));
    let served_for_it = facts
        .inseminated_at
        .filter(|served| -6.0 <= hours_between(finding.since, *served) && *served <= facts.at);
    if facts.in_calf {
        return "She is recorded in calf: have her checked before she is served, and look for discharge."
            .to_owned();
    }
    if let Some(served) = served_for_it {
        return format!("She was inseminated {}. Nothing to do unless the log is wrong.", words(served));
    }
    let early = facts.days_in_milk.filter(|days| *days < SERVED_FROM_D);
    if let Some(days) = early {
        return format!(
            "Note it: she is {} days in milk, before the usual wait. The next heat is due in 18 to 24 days.",
            number::plain(days.floor(), 0)
        );
    }
    let look = if finding.probability < 0.8 { "Look at her for signs of heat. " } else { "" };
    match window {
        Some((_, until)) if until <= facts.at => {
            format!(
                "{look}The best hours for service ended {}. Note the heat: the next is due in 18 to 24 days.",
                words(until)
            )
        }
        Some((from, until)) => {
            format!(
                "{look}If she is to be served: best between {} and {}{}.",
                words(from),
                words(until),
                give_or_take(finding)
            )
        }
        None => look.trim_end().to_owned(),
    }
}

/// Hours from which it is said how uncertain the time of onset is.
const UNCERTAIN_FROM_H: f64 = 2.0;

/// `, give or take 4 h`: half the 90 % interval of the onset.
fn give_or_take(finding: &Finding) -> String {
    let (early, late) = finding.since_between;
    let hours = (hours_between(early, late) / 2.0).ceil();
    if hours < UNCERTAIN_FROM_H {
        return String::new();
    }
    format!(", give or take {}{}h", number::plain(hours, 0), number::SPACE)
}

/// Chance from which another cause is a rival worth deciding on.
const RIVAL_FROM: f64 = 0.05;

/// What would decide between this and the next likely cause.
pub fn decide(finding: &Finding) -> String {
    let quarter = finding.quarter.map_or("all four quarters", |quarter| quarter.words());
    let likely = finding.others.iter().filter(|(_, chance)| RIVAL_FROM <= *chance);
    let next = likely.map(|(cause, _)| *cause).find(|cause| *cause != Cause::Well);
    let by = |cause: Cause| match cause {
        Cause::Udder => format!("the foremilk of {quarter}"),
        Cause::Heat => "whether she stands to be mounted".to_owned(),
        Cause::Metabolic => "ketones in her blood or milk".to_owned(),
        Cause::Gut => "her left side, dung and cud".to_owned(),
        Cause::Feet => "how she walks".to_owned(),
        Cause::Fever => "her temperature".to_owned(),
        Cause::Unclear => "whether she eats".to_owned(),
        _ => String::new(),
    };
    match (finding.cause, next) {
        (Cause::Well, _) => String::new(),
        (Cause::Unclear, None) => {
            "What would decide: whether she eats, and her next two milkings.".to_owned()
        }
        (own, Some(next)) => format!("What would decide: {}, and {}.", by(own), by(next)),
        (own, _) => format!("What would decide: {}.", by(own)),
    }
}

/// Days after calving in which the fresh cow's caution is said. Common practice, no source.
const FRESH_DAYS: f64 = 30.0;

/// Cautions a call carries.
pub fn cautions(finding: &Finding, facts: &Facts) -> Vec<&'static str> {
    let mut cautions = Vec::new();
    match finding.cause {
        Cause::Udder => cautions.extend([
            "A hot, hard quarter or a cow that will not eat: call the veterinarian now.",
            "Watery, bloody or clotted milk is not sold. Treated milk stays out of the tank as the label and the \
             veterinarian say.",
        ]),
        Cause::Metabolic | Cause::Gut | Cause::Fever | Cause::Unclear => {
            cautions.push("A cow that cannot rise or will not eat: call the veterinarian now.");
        }
        Cause::Feet => cautions.push(
            "A cow that will not bear weight on a leg: call the veterinarian or the hoof trimmer today. Driving her hurts her.",
        ),
        Cause::Heat => cautions.push("Cows in heat mount people too: do not stand behind or among them without a way out."),
        _ => {}
    }
    if finding.cause.is_illness() && facts.days_in_milk.is_some_and(|days| days < FRESH_DAYS) {
        cautions.push(
            "A fresh cow with cold ears, unsteady, or down: milk fever kills within hours, call the veterinarian. Off \
             feed with a hollow left side: today.",
        );
    }
    cautions
}

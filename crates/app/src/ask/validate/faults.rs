//! Are a box's faults named on the box, and do the cows' calls stay as they were? And what of things that look like trouble
//! and are none?

use jiff::Timestamp;

use super::{
    count::{self, Excuse, Figure, hours_after},
    heard::Heard,
    truth::{Fault, Happening},
};

/// What looks like trouble of a cow and is none, or moves the whole herd.
pub const DECOYS: [&str; 12] = [
    "incomplete-carried",
    "meter-lost",
    "moved-pen",
    "tag-lost",
    "tag-frozen",
    "heat-misnoted",
    "chronic-quarter",
    "clock-jump",
    "receiver-down",
    "heat-stress",
    "bad-batch",
    "ration-change",
];
/// Happenings that a call of the herd should name.
const OF_HERD: [&str; 3] = ["heat-stress", "bad-batch", "ration-change"];
/// A decoy may still be read so long after it, h.
const AFTER_H: i64 = 24;

/// Faults of a kind that fell due while rounds were made, and a day of rounds after.
pub fn due<'a>(heard: &'a Heard, kind: &'a str) -> impl Iterator<Item = (&'a Fault, Timestamp)> {
    let (starts, ends) = heard.span();
    heard.truth.faults.iter().filter(move |fault| fault.kind == kind).filter_map(move |fault| {
        let due = fault.due?;
        (starts <= due && hours_after(due, 24) <= ends).then_some((fault, due))
    })
}

/// Whether a call of its kind on its box was shown from the fault's begin to a day after it fell due; of its cup, where
/// `cup` asks for that.
pub fn is_named(heard: &Heard, fault: &Fault, due: Timestamp, cup: bool) -> bool {
    heard.of("box", &fault.at_box).iter().any(|said| {
        said.shown.is_some()
            && said.cause == fault.kind
            && fault.from <= said.at
            && said.at <= hours_after(due, 24)
            && (!cup || fault.quarter.is_none() || fault.quarter.as_deref() == said.quarter)
    })
}

/// Calls on boxes that no fault of their kind explains, from a day before to a day after it, over box-days.
pub fn false_box_calls(herds: &[Heard], boxes: u32) -> (u32, f64) {
    let (mut count, mut days) = (0, 0.0);
    for heard in herds {
        let (starts, ends) = heard.span();
        days += ends.duration_since(starts).as_secs_f64() / 86_400.0 * f64::from(boxes);
        for ((_, name), said) in heard.said.iter().filter(|((subject, _), _)| *subject == "box") {
            let mut ids: Vec<(&str, bool)> = Vec::new();
            for one in said.iter().filter(|one| one.shown.is_some()) {
                let explained = heard.truth.faults.iter().any(|fault| {
                    fault.at_box == *name
                        && fault.kind == one.cause
                        && hours_after(fault.from, -24) <= one.at
                        && one.at <= hours_after(fault.to, 24)
                });
                match ids.iter_mut().find(|(id, _)| *id == one.id) {
                    Some((_, known)) => *known |= explained,
                    None => ids.push((&one.id, explained)),
                }
            }
            count += ids.iter().filter(|(_, explained)| !explained).count() as u32;
        }
    }
    (count, days)
}

/// Cow calls begun while a fault was on beside those begun while none was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Meanwhile {
    /// While one was on.
    pub on: Figure,
    /// While none was.
    pub off: Figure,
}

impl Meanwhile {
    /// By how much they were up, as a share, with its exact interval: of all calls the share that begun meanwhile is binomial.
    pub fn up(&self) -> Figure {
        let (Figure::Rate { count: on, cow_days: on_days }, Figure::Rate { count: off, cow_days: off_days }) =
            (self.on, self.off)
        else {
            return Figure::Number { value: None, between: None, n: 0 };
        };
        let share = cowpath_core::right::share(on, on + off);
        let up = |share: f64| share / (1.0 - share) * off_days / on_days - 1.0;
        let known = 0 < off && 0.0 < on_days;
        Figure::Number {
            value: share.share.filter(|_| known).map(up),
            between: known.then(|| (up(share.low), up(share.high))),
            n: on,
        }
    }
}

/// Cow calls (`now`, `today`) begun while a fault of one of these kinds was on, and while none was.
pub fn meanwhile(herds: &[Heard], kinds: &[&str], only_false: bool) -> Meanwhile {
    let mut sums = [(0_u32, 0.0); 2];
    for heard in herds {
        let place = |at: Timestamp| {
            let on = heard
                .truth
                .faults
                .iter()
                .any(|fault| kinds.contains(&fault.kind.as_str()) && fault.from <= at && at <= fault.to);
            usize::from(!on)
        };
        for (at, days) in &heard.rounds {
            sums[place(*at)].1 += days;
        }
        for call in count::calls(heard) {
            let Some(at) = call.urgent else { continue };
            if !only_false || count::is_false(&call, &heard.truth.cases, Excuse::Kind) {
                sums[place(at)].0 += 1;
            }
        }
    }
    let [on, off] = sums.map(|(count, cow_days)| Figure::Rate { count, cow_days });
    Meanwhile { on, off }
}

/// What fell on a kind of decoy.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Fell {
    /// Spans while rounds were made.
    pub spans: u32,
    /// False cow calls (`now`, `today`) that began in one or within a day after it.
    pub calls: u32,
    /// As many as would have begun there by chance: the herds' own rate over the cow-days of the spans.
    pub by_chance: f64,
    /// Herd happenings named by a call of the herd.
    pub named: u32,
}

/// Counts it over herds; `rate` are false calls a cow-day.
pub fn fell(herds: &[Heard], kind: &str, rate: f64) -> Fell {
    let mut fell = Fell::default();
    for heard in herds {
        let (starts, ends) = heard.span();
        let told: Vec<&Happening> = heard
            .truth
            .happenings
            .iter()
            .filter(|own| own.kind == kind && starts <= own.to && own.from <= ends)
            .collect();
        fell.spans += told.len() as u32;
        let on = |own: &Happening, at: Timestamp| own.from <= at && at <= hours_after(own.to, AFTER_H);
        for call in count::calls(heard) {
            let Some(at) = call.urgent.filter(|_| count::is_false(&call, &heard.truth.cases, Excuse::Kind))
            else {
                continue;
            };
            let hers = |own: &&&Happening| own.animal.as_deref().is_none_or(|animal| animal == call.animal);
            fell.calls += u32::from(told.iter().filter(hers).any(|own| on(own, at)));
        }
        for own in told.iter().filter(|own| own.animal.is_none()) {
            let days: f64 = heard.rounds.iter().filter(|(at, _)| on(own, *at)).map(|(_, days)| days).sum();
            fell.by_chance += rate * days;
            let named = |said: &super::heard::Said| said.shown.is_some() && on(own, said.at);
            fell.named += u32::from(OF_HERD.contains(&kind) && heard.of("herd", "herd").iter().any(named));
        }
        for own in told.iter().filter(|own| own.animal.is_some()) {
            let rounds = own.animal.as_ref().and_then(|animal| heard.judged.get(animal));
            let days = rounds.map_or(0, |rounds| rounds.iter().filter(|at| on(own, **at)).count());
            fell.by_chance += rate * days as f64 * cow_days_a_round(heard);
        }
    }
    fell
}

/// Days that one cow's place in a round stands for, on the mean.
fn cow_days_a_round(heard: &Heard) -> f64 {
    let judged: usize = heard.judged.values().map(Vec::len).sum();
    if judged == 0 { 0.0 } else { heard.cow_days() / judged as f64 }
}

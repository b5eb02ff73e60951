//! What is said once of a file, however many of its resources it concerns.

use std::collections::BTreeMap;

use crate::issue::{Issue, IssueKind, shown};

/// Something that the reader did with many resources of one file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Note {
    Silent,
    NoExit,
    QuarterSum,
    At25,
    Blood,
    Manual,
    Entitlement,
    NoScale,
    Opinion,
    TestCode,
    NoMilkWithdrawal,
    OtherProduct,
    NoIdentifier,
    NotCattle,
    Arrived,
    NoTag,
}

impl Note {
    /// What is to be said of `count` resources, and what to do.
    fn words(self, count: u64) -> (String, &'static str) {
        let (one, many, remedy) = match self {
            Note::Silent => (
                "visit in a form that has no word for visits turned away or for feed only, milk to the tank, cups kicked off, flow at take-off and her entry: these are unknown, not zero",
                "visits in a form that has no word for visits turned away or for feed only, milk to the tank, cups kicked off, flow at take-off and their entry: these are unknown, not zero",
                "read the boxes' own log as well, if you need them",
            ),
            Note::NoExit => (
                "visit does not say when she left: its end is that of milking, so box minutes are incomplete",
                "visits do not say when she left: their end is that of milking, so box minutes are incomplete",
                "let the source give `milkingVisitDuration` if it can",
            ),
            Note::QuarterSum => (
                "visit's quarters differ by more than 10 % from its whole milk; both are kept as they are",
                "visits' quarters differ by more than 10 % from their whole milk; both are kept as they are",
                "look whether the meters of that box agree",
            ),
            Note::At25 => (
                "visit has conductivity as the standard has it, at 25 °C; a box that logs at milk temperature reads about 20 to 30 % higher",
                "visits have conductivity as the standard has it, at 25 °C; a box that logs at milk temperature reads about 20 to 30 % higher",
                "do not read the same boxes from both kinds of log",
            ),
            Note::Blood => (
                "visit saw blood and did not measure it; no column holds that",
                "visits saw blood and did not measure it; no column holds that",
                "nothing, or let the source give parts per million (unit 59)",
            ),
            Note::Manual => (
                "milking by hand or in a parlour is no visit to a box, and was not taken",
                "milkings by hand or in a parlour are no visits to a box, and were not taken",
                "nothing",
            ),
            Note::Entitlement => (
                "feeding has an amount she was entitled to: for this visit or left of the day, as its source decides; taken as offered",
                "feedings have an amount she was entitled to: for this visit or left of the day, as their source decides; taken as offered",
                "ask the source which of the two it means",
            ),
            Note::NoScale => (
                "weight was estimated and not read off a scale; kept under its method, and no model reads it",
                "weights were estimated and not read off a scale; kept under their method, and no model reads them",
                "nothing",
            ),
            Note::Opinion => (
                "heat is what another system reports, not what a person saw",
                "heats are what another system reports, not what a person saw",
                "nothing",
            ),
            Note::TestCode => (
                "test day has a code in the place of milk: her milk of that day is unknown, not zero",
                "test days have a code in the place of milk: milk of those days is unknown, not zero",
                "nothing",
            ),
            Note::NoMilkWithdrawal => (
                "treatment does not say until when its milk is withheld: it is held without an end",
                "treatments do not say until when their milk is withheld: it is held without an end",
                "enter until when, once it is known",
            ),
            Note::OtherProduct => (
                "withdrawal is not of milk, and was not taken",
                "withdrawals are not of milk, and were not taken",
                "nothing",
            ),
            Note::NoIdentifier => (
                "treatment's medicine has no identifier, which the standard asks for since 2024; it was read all the same",
                "treatments' medicines have no identifier, which the standard asks for since 2024; they were read all the same",
                "nothing",
            ),
            Note::NotCattle => (
                "animal is no cattle, and was not taken",
                "animals are no cattle, and were not taken",
                "nothing",
            ),
            Note::Arrived => (
                "cow came from elsewhere: her milk is to be held until a person clears her",
                "cows came from elsewhere: their milk is to be held until a person clears them",
                "look at her papers for milk that must be withheld",
            ),
            Note::NoTag => (
                "animal's management tag is another cow's herd number: it is read under its own identifier",
                "animals' management tags are other cows' herd numbers: they are read under their own identifiers",
                "look whether the number was given to a new cow, and enter that the old one left",
            ),
        };
        (format!("{count} {}", if count == 1 { one } else { many }), remedy)
    }
}

/// Everything noted of a file.
#[derive(Debug, Default)]
pub(crate) struct Notes {
    noted: BTreeMap<Note, u64>,
    unused: BTreeMap<String, u64>,
    others: BTreeMap<String, u64>,
    /// More pages are said to follow: this one, of how many.
    pages: Option<(Option<u64>, Option<u64>)>,
}

/// Different properties or kinds that are named; a file with more of them has its own words for names.
const MOST_NAMED: usize = 200;

impl Notes {
    pub fn add(&mut self, note: Note) {
        *self.noted.entry(note).or_default() += 1;
    }

    /// A property that is not used.
    pub fn unused(&mut self, property: &str) {
        // Most files have the same few in every resource, and short ones are shown as they are.
        match self.unused.get_mut(property) {
            Some(times) => *times += 1,
            None => count(&mut self.unused, shown(property.as_bytes())),
        }
    }

    /// A resource of a kind that is not read.
    pub fn other(&mut self, kind: String) {
        count(&mut self.others, kind);
    }

    /// The file is one page of several.
    pub fn page(&mut self, current: Option<u64>, total: Option<u64>, next: bool) {
        let follows = match (current, total) {
            (Some(current), Some(total)) => current < total,
            _ => next,
        };
        if follows {
            self.pages = Some((current, total));
        }
    }

    /// Everything as issues: notes, then kinds, then properties.
    pub fn issues(&self) -> Vec<Issue> {
        let issue = |column: Option<&str>, reason: String, remedy: &str, kind| Issue {
            line: None,
            column: column.map(str::to_owned),
            value: None,
            reason,
            remedy: remedy.to_owned(),
            kind,
            raw: None,
        };
        let mut all = Vec::new();
        if let Some((current, total)) = self.pages {
            let which = match (current, total) {
                (Some(current), Some(total)) => format!("this is page {current} of {total}"),
                _ => "this page names a next one".into(),
            };
            let reason = format!("{which}; the others are not fetched");
            all.push(issue(
                Some("view"),
                reason,
                "export the other pages too, and read them",
                IssueKind::Note,
            ));
        }
        for (note, count) in &self.noted {
            let (reason, remedy) = note.words(*count);
            all.push(issue(None, reason, remedy, IssueKind::Note));
        }
        for (kind, count) in &self.others {
            let reason = format!("{count} of this kind: not read");
            all.push(issue(Some(kind), reason, "nothing, if you can do without them", IssueKind::Note));
        }
        for (property, count) in &self.unused {
            let times = if *count == 1 { "once".into() } else { format!("{count} times") };
            all.push(issue(
                Some(property),
                format!("not used; it stands there {times}"),
                "nothing, if you can do without it",
                IssueKind::ColumnNotUsed,
            ));
        }
        all
    }
}

fn count(all: &mut BTreeMap<String, u64>, name: String) {
    if all.len() < MOST_NAMED || all.contains_key(&name) {
        *all.entry(name).or_default() += 1;
    } else {
        *all.entry("others".into()).or_default() += 1;
    }
}

//! What a resource is, by the name of its kind in any of its spellings.

use cowpath_core::tables::{Table, table};

/// A kind of resource that is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Kind {
    Visit,
    Feed,
    Weight,
    Heat,
    Insemination,
    PregnancyCheck,
    Calving,
    DryOff,
    TestDay,
    Diagnosis,
    Treatment,
    Withdrawal,
    Arrival,
    Departure,
    Death,
    Animal,
}

/// Short names of the catalogue, with the spellings it gets wrong and those of the schemas' files.
const KINDS: [(&str, Kind); 20] = [
    ("MilkingVisitEvent", Kind::Visit),
    ("FeedIntakeEvent", Kind::Feed),
    ("WeightEvent", Kind::Weight),
    ("ReproHeatEvent", Kind::Heat),
    ("ReproInseminationEvent", Kind::Insemination),
    ("ReproInsemonationEvent", Kind::Insemination),
    ("ReproPregnancyCheckEvent", Kind::PregnancyCheck),
    ("ReproParturitionEvent", Kind::Calving),
    ("MilkingDryOffEvent", Kind::DryOff),
    ("TestDayResult", Kind::TestDay),
    ("TestDayResultEvent", Kind::TestDay),
    ("DiagnosisEvent", Kind::Diagnosis),
    ("TreatmentEvent", Kind::Treatment),
    ("WithdrawalEvent", Kind::Withdrawal),
    ("MovementArrivalEvent", Kind::Arrival),
    ("MovementDepartureEvent", Kind::Departure),
    ("MovementDeathEvent", Kind::Death),
    ("Animal", Kind::Animal),
    ("AnimalCore", Kind::Animal),
    ("AnimalResource", Kind::Animal),
];

/// The address that the short form `icar:` stands for.
const ADDRESS: &str = "http://data.adewg.icar.org/core/";

/// The short name of a kind as a file writes it: `icarMilkingVisitEventResource`, `icar:MilkingVisitEvent`, its address,
/// or `MilkingVisitEvent`.
pub(crate) fn short(word: &str) -> &str {
    let word = word.trim();
    let word = [ADDRESS, "icar:", "icar"].iter().find_map(|start| word.strip_prefix(start)).unwrap_or(word);
    word.strip_suffix("Resource").unwrap_or(word)
}

/// The kind of a name in any spelling; `None` for one that is not read.
pub(crate) fn kind(word: &str) -> Option<Kind> {
    let short = short(word);
    KINDS.iter().find(|(name, _)| *name == short).map(|(_, kind)| *kind)
}

/// The table that a kind is counted in.
pub(crate) fn table_of(kind: Kind) -> Option<&'static Table> {
    table(match kind {
        Kind::Visit | Kind::Feed => "visits",
        Kind::TestDay => "recordings",
        Kind::Animal => "animals",
        _ => "events",
    })
}

//! `events`: what people and programs noted of a cow.

use super::{Cell, Disagreement, Table, Unit, figure, span_s, text, time, words};

/// Kinds of event, as the table writes them.
pub const EVENT_KINDS: [&str; 13] = [
    "calved",
    "heat",
    "inseminated",
    "pregnancy-check",
    "diagnosed",
    "treated",
    "dried-off",
    "moved",
    "weighed",
    "body-condition",
    "locomotion",
    "left",
    "died",
];

pub(super) const EVENTS: Table = Table {
    name: "events",
    row_is: "one thing noted of one cow",
    key: &["animal", "at", "kind", "quarter", "detail"],
    tells: &["animal", "at", "kind"],
    agrees: until_follows,
    columns: &[
        text("animal", true, "Herd number or name."),
        time("at", true, "When it happened."),
        words("kind", true, &EVENT_KINDS, "What kind of event."),
        words("quarter", false, &["LF", "RF", "LR", "RR"], "Which quarter, where it concerns one."),
        text("detail", false, "What exactly, in the log's words; the pen of a move."),
        figure("value", Unit::Own, -1e9, 1e9, "A figure: parity of a calving, weight, score."),
        text("unit", false, "Unit of `value`."),
        time("until", false, "Of a treatment: her milk is held until then."),
        text("by", false, "Who noted it."),
        text("note", false, "Free text."),
    ],
};

fn until_follows(cells: &[Cell]) -> Result<(), Disagreement> {
    if span_s(cells, 1, 7).is_some_and(|span| span < 0.0) {
        return Err(Disagreement {
            column: "until",
            reason: "it ends before it begins".into(),
            remedy: "mend one of the two times; until then her milk is not known to be clear".into(),
        });
    }
    Ok(())
}

//! `recordings`, `pickups` and `box-states`: official milk recording, the tank, and what a box was doing.

use super::{Cell, Disagreement, Table, Unit, anything, date, figure, required, span_s, text, time, words};

pub(super) const RECORDINGS: Table = Table {
    name: "recordings",
    row_is: "one cow on one day of official milk recording",
    key: &["animal", "on"],
    tells: &["animal", "on", "milk_kg"],
    agrees: anything,
    columns: &[
        text("animal", true, "Herd number or name."),
        date("on", true, "Day of the recording."),
        figure("milk_kg", Unit::Kilograms, 0.0, 120.0, "Milk of 24 hours."),
        figure("fat_pct", Unit::Percent, 0.0, 20.0, "Fat."),
        figure("protein_pct", Unit::Percent, 0.0, 15.0, "Protein."),
        figure("lactose_pct", Unit::Percent, 0.0, 10.0, "Lactose."),
        figure("scc_k", Unit::ThousandPerMl, 0.0, 99_999.0, "Somatic cells."),
    ],
};

pub(super) const PICKUPS: Table = Table {
    name: "pickups",
    row_is: "one time the tank was emptied",
    key: &["collected_at"],
    tells: &["collected_at", "milk_kg"],
    agrees: anything,
    columns: &[
        time("collected_at", true, "When the milk was collected."),
        required(figure("milk_kg", Unit::Kilograms, 0.0, 100_000.0, "Milk collected; may come as `milk_l`.")),
        figure("fat_pct", Unit::Percent, 0.0, 20.0, "Fat."),
        figure("protein_pct", Unit::Percent, 0.0, 15.0, "Protein."),
        figure("scc_k", Unit::ThousandPerMl, 0.0, 99_999.0, "Somatic cells."),
        figure("bacteria_k", Unit::ThousandPerMl, 0.0, 99_999.0, "Bacteria."),
        figure("milk_c", Unit::Celsius, -2.0, 40.0, "Temperature of the milk in the tank."),
    ],
};

pub(super) const BOX_STATES: Table = Table {
    name: "box-states",
    row_is: "one span in which a box was not milking",
    key: &["box", "from"],
    tells: &["box", "from", "to", "state"],
    agrees: ends_after_it_begins,
    columns: &[
        text("box", true, "Name of the box."),
        time("from", true, "When it began."),
        time("to", true, "When it ended."),
        words("state", true, &["cleaning", "service", "fault", "off"], "What the box was doing."),
    ],
};

fn ends_after_it_begins(cells: &[Cell]) -> Result<(), Disagreement> {
    if span_s(cells, 1, 2).is_some_and(|span| span < 0.0) {
        return Err(Disagreement {
            column: "to",
            reason: "it ends before it begins".into(),
            remedy: "look whether the two times are swapped".into(),
        });
    }
    Ok(())
}

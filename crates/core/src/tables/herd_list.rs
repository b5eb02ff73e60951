//! `animals`: one row a cow and lactation, as a herd list writes it.

use super::{Column, Kind, Table, Unit, anything, date, figure, text};

pub(super) const ANIMALS: Table = Table {
    name: "animals",
    row_is: "one cow, with her last calving",
    // A list read again after she calved adds a lactation and does not overwrite the one before.
    key: &["animal", "official_id", "calved_on"],
    tells: &["animal", "parity"],
    agrees: anything,
    columns: &[
        text("animal", true, "Herd number or name."),
        Column {
            name: "official_id",
            kind: Kind::OfficialId,
            required: false,
            means: "Official number, 15 digits (ISO 11784).",
        },
        date("born_on", false, "Day of birth."),
        text("breed", false, "Breed."),
        figure(
            "parity",
            Unit::Own,
            0.0,
            20.0,
            "Number of the lactation that `calved_on` began; 0 for a heifer.",
        ),
        date("calved_on", false, "Day of her last calving."),
        text("pen", false, "Pen."),
        text("sire", false, "Sire."),
        text("dam", false, "Dam."),
    ],
};

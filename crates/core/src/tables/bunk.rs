//! `bunk` and `pushes`: what was put before the cows, and when it was pushed up.

use super::{Table, Unit, anything, figure, required, text, time};

pub(super) const BUNK: Table = Table {
    name: "bunk",
    row_is: "one feed delivered to one pen",
    key: &["pen", "delivered_at", "feed"],
    tells: &["pen", "delivered_at", "feed"],
    agrees: anything,
    columns: &[
        text("pen", true, "Pen."),
        time("delivered_at", true, "When it was put down."),
        text("feed", true, "Name of the feed."),
        required(figure("kg", Unit::Kilograms, 0.0, 100_000.0, "How much, as fed.")),
    ],
};

pub(super) const PUSHES: Table = Table {
    name: "pushes",
    row_is: "one time feed was pushed up",
    key: &["bunk_side", "at"],
    tells: &["bunk_side", "at"],
    agrees: anything,
    columns: &[
        text("bunk_side", true, "Side of the bunk."),
        time("at", true, "When."),
        figure("distance_cm", Unit::Centimetres, 0.0, 1000.0, "How far the feed was moved."),
    ],
};

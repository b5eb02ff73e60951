//! `movement`: one row a cow and bin of time, from a collar, leg or ear sensor.

use jiff::Timestamp;

use super::{Cell, Disagreement, Table, Unit, figure, required, text, time};

/// One bin of one cow's sensor, as the models read it; `None` is not measured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bin {
    /// When it begins.
    pub from: Timestamp,
    /// Its length, min.
    pub minutes: f64,
    /// Movement in the sensor's own unit.
    pub activity: Option<f64>,
    /// Minutes of rumination.
    pub rumination_min: Option<f64>,
    /// Minutes of eating.
    pub eating_min: Option<f64>,
    /// Minutes lying.
    pub lying_min: Option<f64>,
    /// Steps.
    pub steps: Option<f64>,
}

pub(super) const MOVEMENT: Table = Table {
    name: "movement",
    row_is: "one cow in one bin of time (2 h usual, 5 min to 24 h)",
    key: &["animal", "from"],
    tells: &["animal", "from", "minutes"],
    agrees: minutes_fit,
    columns: &[
        text("animal", true, "Herd number or name."),
        time("from", true, "When the bin begins."),
        required(figure("minutes", Unit::Minutes, 5.0, 1440.0, "Length of the bin.")),
        figure("activity", Unit::Own, 0.0, 1e9, "Movement in the sensor's own unit."),
        figure("rumination_min", Unit::Minutes, 0.0, 1440.0, "Minutes of rumination."),
        figure("eating_min", Unit::Minutes, 0.0, 1440.0, "Minutes of eating."),
        figure("lying_min", Unit::Minutes, 0.0, 1440.0, "Minutes lying."),
        figure("steps", Unit::Own, 0.0, 1e6, "Steps."),
    ],
};

/// Minutes of one activity cannot exceed the bin (half a minute of rounding allowed).
fn minutes_fit(cells: &[Cell]) -> Result<(), Disagreement> {
    let Some(bin_min) = cells.get(2).and_then(Cell::number) else { return Ok(()) };
    for (index, column) in [(4, "rumination_min"), (5, "eating_min"), (6, "lying_min")] {
        if cells.get(index).and_then(Cell::number).is_some_and(|minutes| bin_min + 0.5 < minutes) {
            return Err(Disagreement {
                column,
                reason: "there are more minutes of it than the bin is long".into(),
                remedy: "look whether the figure is a daily sum, or whether `minutes` is wrong".into(),
            });
        }
    }
    Ok(())
}

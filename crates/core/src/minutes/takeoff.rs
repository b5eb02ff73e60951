//! What would taking the cups off sooner save, and what milk would it leave?
//!
//! # Equation
//! No table holds the course of a flow. A quarter's yield m, seconds s, peak p and flow at take-off q tell one that has all four:
//! the flow stands at its peak and then fades, p · e^(−x/τ), until the cup comes off at q:
//!   m = p · (s − D) + τ · (p − q),  D = τ · ln(p/q)   ⇒   τ = (p·s − m) / (p · ln(p/q) − (p − q))
//! At a level L between q and p it is under L for τ · ln(L/q) s, in which τ · (L − q) of milk comes; off at L, so many
//! seconds are saved and so much milk is left. Off at q already above L: nothing changes. Flows are kg/s here.
//! Only the last quarter shortens a visit: what a milking is shorter by is its longest quarter before less its longest after.
//! # Source
//! Levels of trials: `docs/sources.md` §5. The form of the fading is a stated assumption, without source.
//! # Proof
//! Laws in `tests/laws.rs`: the form added up by small steps gives the yield it was made from; no saving below the take-off,
//! none from quarters that are not the last, milk left never above what came.
//! # Not here
//! Let-down, which short intervals delay: §5 says that interval, not only level, moves time.

use crate::tables::QuarterVisit;

/// Levels of the trials, kg/min of a quarter, with who tried them.
pub const TRIED: [(f64, &str); 6] = [
    (0.05, "Lüdi & Bruckmaier, J Dairy Res, 2022"),
    (0.06, "Krawczel et al., J Dairy Sci 100:6640, 2017"),
    (0.0875, "Lüdi & Bruckmaier, J Dairy Res, 2022"),
    (0.125, "Lüdi & Bruckmaier, J Dairy Res, 2022"),
    (0.30, "Krawczel et al., J Dairy Sci 100:6640, 2017"),
    (0.48, "Krawczel et al., J Dairy Sci 100:6640, 2017"),
];

/// Under this flow a cup hangs on a quarter that gives next to nothing, kg/min: the lowest level any trial took off at.
pub const NEXT_TO_NOTHING_KG_MIN: f64 = 0.05;

/// The end of a quarter's milking.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tail {
    /// Seconds of flow.
    pub flow_s: f64,
    /// Peak, kg/min.
    pub peak_kg_min: f64,
    /// Flow at take-off, kg/min.
    pub takeoff_kg_min: f64,
    /// Fading of the flow to 1/e, s.
    pub tau_s: f64,
}

/// The end of a quarter's milking from what its row tells; `None` where one of the four is missing or they contradict
/// each other (more milk than its peak can bring in the time, a take-off above the peak, a fading longer than the flow).
pub fn tail(quarter: &QuarterVisit) -> Option<Tail> {
    let (milk_kg, flow_s) = (quarter.milk_kg?, quarter.flow_s?);
    let (peak_kg_min, takeoff_kg_min) = (quarter.peak_kg_min?, quarter.takeoff_kg_min?);
    let (peak, takeoff) = (peak_kg_min / 60.0, takeoff_kg_min / 60.0);
    let sound = [milk_kg, flow_s, peak, takeoff].iter().all(|x| x.is_finite() && 0.0 < *x);
    if !sound || peak <= takeoff {
        return None;
    }
    let fall = (peak / takeoff).ln();
    let tau_s = (peak * flow_s - milk_kg) / (peak * fall - (peak - takeoff));
    let fits = 0.0 <= tau_s && tau_s * fall <= flow_s;
    fits.then_some(Tail { flow_s, peak_kg_min, takeoff_kg_min, tau_s })
}

impl Tail {
    /// Seconds under a level, and the milk that comes in them, kg.
    pub fn under(&self, level_kg_min: f64) -> (f64, f64) {
        let level = level_kg_min.min(self.peak_kg_min);
        if level <= self.takeoff_kg_min {
            return (0.0, 0.0);
        }
        let seconds = self.tau_s * (level / self.takeoff_kg_min).ln();
        (seconds, self.tau_s * (level - self.takeoff_kg_min) / 60.0)
    }
}

/// What another level would do.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Change {
    /// Seconds each quarter's cup would come off sooner.
    pub quarter_s: [f64; 4],
    /// Milk each would leave, kg.
    pub left_kg: [f64; 4],
    /// Seconds the visit would be shorter by.
    pub visit_s: f64,
}

/// What taking off at a level would do to one milking. A quarter whose end is not known stays as it is.
pub fn at_level(quarters: &[QuarterVisit; 4], level_kg_min: f64) -> Change {
    Ends::of(quarters).at_level(level_kg_min)
}

/// A milking as far as taking off goes: its quarters' seconds, and their ends where they are known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ends([Option<(f64, Option<Tail>)>; 4]);

impl Ends {
    /// Of a milking.
    pub fn of(quarters: &[QuarterVisit; 4]) -> Ends {
        Ends(quarters.each_ref().map(|quarter| {
            let flow_s = quarter.flow_s.filter(|s| s.is_finite() && 0.0 <= *s)?;
            Some((flow_s, tail(quarter)))
        }))
    }

    /// Whether the end of any quarter is known.
    pub fn known(&self) -> bool {
        self.0.iter().flatten().any(|(_, tail)| tail.is_some())
    }

    /// The end of a quarter.
    pub fn tail(&self, quarter: usize) -> Option<Tail> {
        self.0.get(quarter).copied().flatten().and_then(|(_, tail)| tail)
    }

    /// What taking off at a level would do.
    pub fn at_level(&self, level_kg_min: f64) -> Change {
        let mut change = Change::default();
        let (mut before, mut after) = (0.0_f64, 0.0_f64);
        for (place, own) in self.0.iter().enumerate() {
            let Some((flow_s, tail)) = own else { continue };
            let (saved_s, left_kg) = tail.map_or((0.0, 0.0), |tail| tail.under(level_kg_min));
            (change.quarter_s[place], change.left_kg[place]) = (saved_s, left_kg);
            before = before.max(*flow_s);
            after = after.max(flow_s - saved_s);
        }
        change.visit_s = before - after;
        change
    }
}

//! What is a box's time used for, and how are milliseconds told in whole seconds that still add up?

/// What a box's time is used for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Use {
    /// In the box, before the first cup.
    Preparing,
    /// Milk flows from at least two quarters.
    MilkFlow,
    /// One quarter alone keeps her in the box.
    LastQuarter,
    /// In the box, after the last quarter.
    Leaving,
    /// In the box without flow, before or after: the first cup is not logged.
    Handling,
    /// A milking of which some milk was missed or a cup kicked off.
    Incomplete,
    /// No milking was due.
    TurnedAway,
    /// Feed only.
    FedOnly,
    /// Nothing or nearly nothing was milked.
    Failed,
    /// The box was cleaned.
    Cleaning,
    /// It was serviced.
    Service,
    /// It was at fault.
    Fault,
    /// It was off.
    Off,
    /// No row claims it.
    Idle,
}

impl Use {
    /// All, in the order they are told.
    pub const ALL: [Use; 14] = [
        Use::Preparing,
        Use::MilkFlow,
        Use::LastQuarter,
        Use::Leaving,
        Use::Handling,
        Use::Incomplete,
        Use::TurnedAway,
        Use::FedOnly,
        Use::Failed,
        Use::Cleaning,
        Use::Service,
        Use::Fault,
        Use::Off,
        Use::Idle,
    ];

    /// The use of a row of `box-states`; a word that is none of the table's counts as off.
    pub fn of_state(word: &str) -> Use {
        match word {
            "cleaning" => Use::Cleaning,
            "service" => Use::Service,
            "fault" => Use::Fault,
            _ => Use::Off,
        }
    }
}

/// Milliseconds by use, in the order of [`Use::ALL`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Spent(pub [i64; Use::ALL.len()]);

impl Spent {
    /// Of one use.
    pub fn of(&self, of: Use) -> i64 {
        self.0[of as usize]
    }
    /// Of all uses.
    pub fn total(&self) -> i64 {
        self.0.iter().sum()
    }
    /// Adds another's.
    pub fn add(&mut self, other: &Spent) {
        for (own, other) in self.0.iter_mut().zip(other.0) {
            *own += other;
        }
    }
    /// In the box without flow, split or not.
    pub fn handling(&self) -> i64 {
        self.of(Use::Preparing) + self.of(Use::Leaving) + self.of(Use::Handling)
    }
    /// All that is a whole milking's.
    pub fn milking(&self) -> i64 {
        self.handling() + self.of(Use::MilkFlow) + self.of(Use::LastQuarter)
    }
}

/// Whole seconds that add up as the milliseconds do: each is less than a second off, and the sum by less than half.
///
/// The largest remainders are rounded up, of equal ones the first.
pub fn whole_seconds<const N: usize>(ms: [i64; N]) -> [i64; N] {
    let total = (ms.iter().sum::<i64>() as f64 / 1000.0).round() as i64;
    let mut seconds = ms.map(|ms| ms.div_euclid(1000));
    let mut short = (total - seconds.iter().sum::<i64>()).max(0) as usize;
    let mut order: Vec<usize> = (0..N).collect();
    order.sort_by_key(|place| (-ms[*place].rem_euclid(1000), *place));
    for place in order {
        if short == 0 {
            break;
        }
        seconds[place] += 1;
        short -= 1;
    }
    seconds
}

//! Which signals does she show, and by how much do they depart from her own now?

/// What a hit touches. Shares are lost shares (negative: gained); others are added.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Touch {
    /// Secretion of one quarter, share.
    Quarter(usize),
    /// Secretion of the whole udder, share.
    Milk,
    /// Conductivity of one quarter, mS/cm.
    Conductivity(usize),
    /// Log of cells of one quarter.
    Cells(usize),
    /// Chance of kicking off the cup of one quarter.
    Kick(usize),
    /// Flow of one quarter, share.
    Flow(usize),
    /// Rumination, share.
    Rumination,
    /// Activity and steps, share.
    Activity,
    /// Eating time, share.
    Eating,
    /// Lying time, share.
    Lying,
    /// Eagerness to come to the box, share.
    Coming,
    /// Body and milk temperature, °C.
    Heat,
    /// Log of blood in the milk.
    Blood,
    /// Fat, percentage points.
    Fat,
    /// Protein, percentage points.
    Protein,
    /// Lactose, percentage points.
    Lactose,
    /// Concentrate eaten of that offered, share.
    BoxFeed,
    /// Weight, kg.
    Weight,
}

/// Everything that moves her signals now, all cases and heats together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Signs {
    pub quarter: [f64; 4],
    pub milk: f64,
    pub conductivity_ms_cm: [f64; 4],
    pub cells_log: [f64; 4],
    pub kick: [f64; 4],
    pub flow: [f64; 4],
    pub rumination: f64,
    pub activity: f64,
    pub eating: f64,
    pub lying: f64,
    pub coming: f64,
    pub heat_c: f64,
    pub blood_log: f64,
    pub fat_pct: f64,
    pub protein_pct: f64,
    pub lactose_pct: f64,
    pub box_feed: f64,
    pub weight_kg: f64,
}

impl Signs {
    /// A cow with nothing the matter.
    pub const WELL: Signs = Signs {
        quarter: [1.0; 4],
        milk: 1.0,
        conductivity_ms_cm: [0.0; 4],
        cells_log: [0.0; 4],
        kick: [0.0; 4],
        flow: [1.0; 4],
        rumination: 1.0,
        activity: 1.0,
        eating: 1.0,
        lying: 1.0,
        coming: 1.0,
        heat_c: 0.0,
        blood_log: 0.0,
        fat_pct: 0.0,
        protein_pct: 0.0,
        lactose_pct: 0.0,
        box_feed: 1.0,
        weight_kg: 0.0,
    };

    /// Adds one hit.
    pub fn add(&mut self, touch: Touch, amount: f64) {
        let kept = (1.0 - amount).max(0.03);
        match touch {
            Touch::Quarter(q) => self.quarter[q] *= kept,
            Touch::Milk => self.milk *= kept,
            Touch::Conductivity(q) => self.conductivity_ms_cm[q] += amount,
            Touch::Cells(q) => self.cells_log[q] += amount,
            Touch::Kick(q) => self.kick[q] += amount,
            Touch::Flow(q) => self.flow[q] *= kept,
            Touch::Rumination => self.rumination *= kept,
            Touch::Activity => self.activity *= kept,
            Touch::Eating => self.eating *= kept,
            Touch::Lying => self.lying *= kept,
            Touch::Coming => self.coming *= kept,
            Touch::Heat => self.heat_c += amount,
            Touch::Blood => self.blood_log += amount,
            Touch::Fat => self.fat_pct += amount,
            Touch::Protein => self.protein_pct += amount,
            Touch::Lactose => self.lactose_pct += amount,
            Touch::BoxFeed => self.box_feed *= kept,
            Touch::Weight => self.weight_kg += amount,
        }
    }
}

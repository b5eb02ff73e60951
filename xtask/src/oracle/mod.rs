//! How near does the judge come to what could be known? Cases made here, of other shapes than the templates', weighed by the
//! judge and by an oracle that knows how they are made.
//!
//! # Equation
//! L = 1/K Σ_k Π_i N(x_i − μ_i(k)) / N(x_i)
//!   k  one of K courses drawn as the cases are    i  whitened readings
//! No test calls more of these cases at as many false calls (Neyman and Pearson). The judge is given the same readings; it does
//! not know the courses. Their constants are of this module alone, none read off `herdsim`.

mod cases;
mod quarter;
mod whole;

/// splitmix64, so that the figures hang on no library's stream.
struct Chance(u64);

impl Chance {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.even()
    }

    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        ((z ^ (z >> 31)) >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.even()).ln()).sqrt() * (std::f64::consts::TAU * self.even()).cos()
    }
}

/// Readings of a signal that wanders about nought with `memory` from one to the next.
fn wander(chance: &mut Chance, count: usize, memory: f64, spread: f64) -> Vec<f64> {
    let mut last = chance.normal();
    let next = |_| {
        let reading = spread * last;
        last = memory * last + (1.0 - memory * memory).sqrt() * chance.normal();
        reading
    };
    (0..count).map(next).collect()
}

/// The same in units of independent normal readings.
fn whiten(readings: &[f64], memory: f64, spread: f64) -> impl Iterator<Item = f64> {
    let mut last = None;
    readings.iter().map(move |reading| {
        let unit = reading / spread;
        let own = last.map_or(unit, |last: f64| (unit - memory * last) / (1.0 - memory * memory).sqrt());
        last = Some(unit);
        own
    })
}

/// Shares of well rounds called at which all are compared: one false call in 100 cow-days of two rounds is 0.5 %.
const CALLED: [f64; 3] = [0.02, 0.005, 0.002];

/// ln of the mean likelihood ratio of `courses` in readings, both whitened.
fn mean_ratio(own: &[f64], courses: &[Vec<f64>]) -> f64 {
    let log =
        |course: &Vec<f64>| -> f64 { course.iter().zip(own).map(|(mean, x)| mean * (x - 0.5 * mean)).sum() };
    let logs: Vec<f64> = courses.iter().map(log).collect();
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    most + (logs.iter().map(|log| (log - most).exp()).sum::<f64>() / logs.len() as f64).ln()
}

/// The limit above which so great a share of the well is called.
fn limit(well: &[f64], share: f64) -> f64 {
    let mut sorted = well.to_vec();
    sorted.sort_by(|a, b| b.total_cmp(a));
    sorted[(share * well.len() as f64) as usize]
}

/// How many of the ill are called where so great a share of the well is.
fn called(well: &[f64], ill: &[f64], share: f64) -> u32 {
    let from = limit(well, share);
    ill.iter().filter(|own| from < **own).count() as u32
}

/// The comparisons as text.
pub fn run() -> anyhow::Result<String> {
    Ok(format!("{}\n{}", quarter::run()?, whole::run()?))
}

//! Where does chance come from?
//!
//! Every source of chance has a stream of its own, known by a name and, where it belongs to one cow or box, by her
//! number. Seed, name and number are hashed together, so that no two streams of any two seeds start alike and a new
//! source of chance leaves all others as they were.

use rand::RngExt;
use rand_distr::{Distribution, Exp1, Gamma, StandardNormal};
use rand_pcg::Pcg64Mcg;

/// One named stream of chance.
#[derive(Debug, Clone)]
pub struct Stream(Pcg64Mcg);

impl Stream {
    /// The stream `name` number `index` of a seed.
    pub fn new(seed: u64, name: &str, index: u64) -> Stream {
        let half = |salt: u64| {
            // FNV-1a over seed, name and index, then the finaliser of splitmix64 to spread every bit.
            let mut hash = 0xcbf2_9ce4_8422_2325_u64 ^ salt;
            let bytes = seed.to_le_bytes().into_iter().chain(name.bytes()).chain([0]);
            for byte in bytes.chain(index.to_le_bytes()) {
                hash = (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
            }
            hash = (hash ^ (hash >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
            hash = (hash ^ (hash >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
            hash ^ (hash >> 31)
        };
        let state = (u128::from(half(0x9e37_79b9_7f4a_7c15)) << 64) | u128::from(half(0xd1b5_4a32_d192_ed03));
        Stream(Pcg64Mcg::new(state))
    }

    /// Uniform in [0, 1).
    pub fn uniform(&mut self) -> f64 {
        self.0.random::<f64>()
    }

    /// Uniform between two figures.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.uniform()
    }

    /// Gaussian.
    pub fn normal(&mut self, mean: f64, sd: f64) -> f64 {
        let standard: f64 = StandardNormal.sample(&mut self.0);
        mean + sd * standard
    }

    /// Gaussian cut off at `reach` standard deviations on either side.
    pub fn bounded(&mut self, mean: f64, sd: f64, reach: f64) -> f64 {
        let standard: f64 = StandardNormal.sample(&mut self.0);
        mean + sd * standard.clamp(-reach, reach)
    }

    /// Log-normal about its median; `log_sd` is the standard deviation of the logarithm.
    pub fn log_normal(&mut self, median: f64, log_sd: f64) -> f64 {
        let standard: f64 = StandardNormal.sample(&mut self.0);
        median * (log_sd * standard).exp()
    }

    /// Exponential of mean 1.
    pub fn unit_exponential(&mut self) -> f64 {
        Exp1.sample(&mut self.0)
    }

    /// Gamma of mean 1 and the given shape; 1 where the shape makes none.
    pub fn unit_gamma(&mut self, shape: f64) -> f64 {
        Gamma::new(shape, 1.0 / shape).map_or(1.0, |gamma| gamma.sample(&mut self.0))
    }

    /// Whether a thing of this chance happens.
    pub fn chance(&mut self, chance: f64) -> bool {
        self.uniform() < chance
    }

    /// A whole number below `n`; 0 where `n` is 0.
    pub fn below(&mut self, n: usize) -> usize {
        ((self.uniform() * n as f64) as usize).min(n.saturating_sub(1))
    }

    /// A place in `weights`, each as likely as its weight.
    pub fn weighted(&mut self, weights: &[f64]) -> usize {
        let mut left = self.uniform() * weights.iter().sum::<f64>();
        for (place, weight) in weights.iter().enumerate() {
            if left < *weight {
                return place;
            }
            left -= weight;
        }
        weights.len().saturating_sub(1)
    }
}

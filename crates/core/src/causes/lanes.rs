//! Amplitudes of a course and errors of a baseline, reckoned side by side: most of a judgement's time goes here.
//!
//! Powers of products take the place of sums of logarithms, L = Π (1 + u²/ν)^(−(ν+1)/2) · Π q^(−½): the tails that are tried are
//! whole, so that neither logarithm nor exponential is asked for. All is f32, and powers of two beside it.

use pulp::{cast, f32x8, u32x8};

use super::{registers::Eight, well::Well};

/// Pairs of amplitude and error reckoned side by side: as many as leave few lanes empty and all of them in registers.
const SIDE_BY_SIDE: usize = 8;
/// How far a case strays from the course as drawn, share of the course: amplitudes and times of a grid stand half again as far
/// apart as this. Stated default.
pub(crate) const MISFIT: f32 = 0.3;
/// Factors whose product is taken before its power of two is parted from it: each is at most (1 + 400/ν)·q, so that it is far
/// from the end of f32.
const FACTORS: usize = 4;
/// No ratio tells more than this, on either side.
const MOST: f64 = 1e250;

/// Every amplitude with every error of the baseline, amplitudes outermost.
pub(crate) struct Lanes {
    amplitude: Vec<f32x8>,
    /// By chunk, then reading: standardised departures, each lane's error taken off.
    departures: Vec<f32x8>,
    /// By pair: likelihood of the readings that the course moves.
    likelihoods: Vec<f64>,
}

impl Lanes {
    /// For one signal's amplitudes.
    pub fn of(well: &Well, amplitudes: &[f64]) -> Lanes {
        let pairs: Vec<(f32, f32)> = amplitudes
            .iter()
            .flat_map(|amplitude| well.errors.iter().map(move |error| (*amplitude as f32, *error as f32)))
            .collect();
        let mut amplitude = Vec::new();
        let mut departures = Vec::with_capacity(pairs.len().div_ceil(SIDE_BY_SIDE) * well.own.len());
        for chunk in pairs.chunks(SIDE_BY_SIDE) {
            let mut lanes = [(0.0, 0.0); SIDE_BY_SIDE];
            lanes[..chunk.len()].copy_from_slice(chunk);
            amplitude.push(cast(lanes.map(|lane| lane.0)));
            for (own, pull) in well.own.iter().zip(&well.pull) {
                let (own, pull) = (*own as f32, *pull as f32);
                departures.push(cast(lanes.map(|(_, error)| own - error * pull)));
            }
        }
        let likelihoods = vec![0.0; SIDE_BY_SIDE * amplitude.len()];
        Lanes { amplitude, departures, likelihoods }
    }

    /// L(course) / L(well) by amplitude: the course moves the readings from `first` on by `moved`, in spreads at amplitude 1,
    /// and those after them by nothing.
    #[inline(always)]
    pub fn ratios<S: Eight>(
        &mut self,
        eight: S,
        well: &Well,
        moved: &[f32],
        first: usize,
        cells: &mut [f64],
    ) {
        let readings = well.own.len();
        let until = first + moved.len();
        let (memory, per_root) = (&well.memory[first..until], &well.per_root[first..until]);
        let chunks = self.amplitude.iter().zip(self.departures.chunks(readings));
        for ((amplitude, departures), into) in chunks.zip(self.likelihoods.chunks_mut(SIDE_BY_SIDE)) {
            let before = first.checked_sub(1).map_or(eight.splat_f32s(0.0), |before| departures[before]);
            let course = Course { well, moved, memory, per_root };
            let (products, widths) = course.products(eight, *amplitude, &departures[first..until], before);
            into.copy_from_slice(&likelihoods(eight, &products, &widths, well.tail));
        }
        let errors = well.errors.len();
        let before = &well.before[first * errors..];
        let after = &well.after[until * errors..(until + 1) * errors];
        for (cell, likelihoods) in cells.iter_mut().zip(self.likelihoods.chunks(errors)) {
            let ratio: f64 = before
                .iter()
                .zip(after)
                .zip(likelihoods)
                .map(|((before, after), own)| before * own * after)
                .sum();
            *cell = ratio.clamp(1.0 / MOST, MOST);
        }
    }
}

/// What a course says of the readings that it moves.
struct Course<'a> {
    well: &'a Well,
    moved: &'a [f32],
    memory: &'a [f32],
    per_root: &'a [f32],
}

impl Course<'_> {
    /// Π (1 + min(u²/q, odd)/ν) and Π q, from the departures `own` and the one `before` them.
    #[inline(always)]
    fn products<S: Eight>(
        &self,
        eight: S,
        amplitude: f32x8,
        own: &[f32x8],
        before: f32x8,
    ) -> (Product<S>, Product<S>) {
        let splat = |value: f32| eight.splat_f32s(value);
        let (one, per_tail, odd) = (splat(1.0), splat((1.0 / self.well.tail) as f32), splat(self.well.odd));
        let (most, least, misfit) = (splat(3.0), splat(-3.0), splat(MISFIT));
        let (mut products, mut widths) = (Product::one(eight), Product::one(eight));
        let mut last = before;
        let parts = own.chunks(FACTORS).zip(self.moved.chunks(FACTORS));
        for ((own, moved), (memory, per_root)) in
            parts.zip(self.memory.chunks(FACTORS).zip(self.per_root.chunks(FACTORS)))
        {
            let (mut product, mut wider) = (one, one);
            for (((own, moved), memory), per_root) in own.iter().zip(moved).zip(memory).zip(per_root) {
                let course = eight.mul_f32s(amplitude, splat(*moved));
                let departure = eight.sub_f32s(*own, course);
                let missed = eight.mul_f32s(misfit, course);
                let wide = eight.add_f32s(one, eight.mul_f32s(missed, missed));
                let before = eight.max_f32s(eight.min_f32s(last, most), least);
                let fresh = eight.sub_f32s(departure, eight.mul_f32s(splat(*memory), before));
                let innovation = eight.mul_f32s(fresh, splat(*per_root));
                // (1 + min(u²/q, odd)/ν)·q: divided by q once a few readings, for that takes longest.
                let square =
                    eight.min_f32s(eight.mul_f32s(innovation, innovation), eight.mul_f32s(odd, wide));
                product = eight.mul_f32s(product, eight.add_f32s(wide, eight.mul_f32s(square, per_tail)));
                wider = eight.mul_f32s(wider, wide);
                last = departure;
            }
            products.times(eight.div_f32s(product, wider));
            widths.times(wider);
        }
        (products, widths)
    }
}

/// A product by lane that leaves the range of f32: a rest of 1 to 2, and powers of two. Beside figures in f64 half of each
/// register would be empty.
struct Product<S> {
    eight: S,
    rest: f32x8,
    /// Exponents as f32 has them, added up; and how many.
    powers: u32x8,
    count: u32,
}

/// Where f32 has its exponent, the bits after it, and what stands there for 1.
const EXPONENT_AT: u32 = 23;
const AFTER_EXPONENT: u32 = (1 << EXPONENT_AT) - 1;
const NO_POWER: u32 = 127;

impl<S: Eight> Product<S> {
    #[inline(always)]
    fn one(eight: S) -> Product<S> {
        Product { eight, rest: eight.splat_f32s(1.0), powers: eight.splat_u32s(0), count: 0 }
    }

    /// Factors are positive and normal, and so is twice each of them.
    #[inline(always)]
    fn times(&mut self, factors: f32x8) {
        let Product { eight, .. } = *self;
        let bits = eight.transmute_u32s_f32s(eight.mul_f32s(self.rest, factors));
        let power = eight.wrapping_dyn_shr_u32s(bits, eight.splat_u32s(EXPONENT_AT));
        self.powers = eight.add_u32s(self.powers, power);
        let rest = eight.and_u32s(bits, eight.splat_u32s(AFTER_EXPONENT));
        let one = eight.splat_u32s(NO_POWER << EXPONENT_AT);
        self.rest = eight.transmute_f32s_u32s(eight.or_u32s(rest, one));
        self.count += 1;
    }

    /// Powers of two beside the rest.
    #[inline(always)]
    fn powers(&self) -> [i32; SIDE_BY_SIDE] {
        let powers: [u32; SIDE_BY_SIDE] = cast(self.powers);
        powers.map(|power| power.wrapping_sub(self.count * NO_POWER) as i32)
    }
}

/// p^(−(ν + 1)/2) · q^(−½) by lane, as p^(−k) · (p^h·q)^(−½) with k whole and h 0 or 1, powers of two apart.
#[inline(always)]
fn likelihoods<S: Eight>(eight: S, p: &Product<S>, q: &Product<S>, tail: f64) -> [f64; SIDE_BY_SIDE] {
    let (p_powers, q_powers) = (p.powers(), q.powers());
    let (p_rest, q_rest): ([f32; SIDE_BY_SIDE], [f32; SIDE_BY_SIDE]) = (cast(p.rest), cast(q.rest));
    let mut likelihoods = [0.0; SIDE_BY_SIDE];
    if !(1.0..=MOST_TAIL).contains(&tail) || tail.fract() != 0.0 {
        for lane in 0..SIDE_BY_SIDE {
            let ln = |rest: f32, power: i32| f64::from(rest).ln() + f64::from(power) * std::f64::consts::LN_2;
            let (p, q) = (ln(p_rest[lane], p_powers[lane]), ln(q_rest[lane], q_powers[lane]));
            likelihoods[lane] = (-0.5 * (tail + 1.0) * p - 0.5 * q).exp();
        }
        return likelihoods;
    }
    let (k, h) = ((tail as i32 + 1) / 2, (tail as i32 + 1) % 2);
    let mut under_root = if h == 0 { q.rest } else { eight.mul_f32s(p.rest, q.rest) };
    let mut halvings = [0; SIDE_BY_SIDE];
    let mut twice = [1.0_f32; SIDE_BY_SIDE];
    for lane in 0..SIDE_BY_SIDE {
        let root = h * p_powers[lane] + q_powers[lane];
        // One more of an odd number of powers stays below the root.
        twice[lane] = if root & 1 == 0 { 1.0 } else { 2.0 };
        halvings[lane] = k * p_powers[lane] + (root >> 1);
    }
    under_root = eight.mul_f32s(under_root, cast(twice));
    let mut over = eight.sqrt_f32s(under_root);
    for _ in 0..k {
        over = eight.mul_f32s(over, p.rest);
    }
    let rest: [f32; SIDE_BY_SIDE] = cast(eight.div_f32s(eight.splat_f32s(1.0), over));
    for lane in 0..SIDE_BY_SIDE {
        let power = (1023 - halvings[lane]).clamp(1, 2046);
        likelihoods[lane] = f64::from(rest[lane]) * f64::from_bits((power as u64) << 52);
    }
    likelihoods
}

/// Tails of more degrees of freedom are no longer told from a normal one, and none is tried.
const MOST_TAIL: f64 = 16.0;

//! The likelihood beside the same equation without any machinery: in f64, one cell at a time, the baseline's error summed
//! finely. (derived)

use super::made::Chance;
use crate::{
    causes::{
        grid::onsets,
        lanes::Lanes,
        likelihood::{READY, Ready, table},
        registers::{Eight, InEight, in_eight},
        series::Series,
        well::Well,
    },
    expect::Signal,
};

/// A signal's readings of ten days, some of them odd.
fn readings(signal: Signal, seed: u64, error: f64, wide: bool) -> Series {
    let mut chance = Chance::new(seed);
    let hours: Vec<f64> = (0..30).map(|k| -238.0 + 8.0 * f64::from(k) + chance.even()).collect();
    let count = hours.len();
    let spread = 0.1;
    let gap = (0..count).map(|k| {
        let odd = if k % 11 == 7 { 6.0 } else { 1.0 };
        let fell = if 20 < k { -0.15 } else { 0.0 };
        fell + spread * odd * chance.normal()
    });
    Series {
        signal,
        quarter: None,
        gap: gap.collect(),
        per_spread: vec![1.0 / spread; count],
        memory: (0..count).map(|k| if k == 0 { 0.3 } else { 0.2 }).collect(),
        error: vec![error; count],
        wide,
        tail: 5.0,
        shown: vec![(0.0, 0.0); count],
        hours,
    }
}

/// Large errors of the baseline, Student-t with 4 degrees of freedom, likewise: density 3/8·(1 + x²/4)^(−5/2).
fn fine_and_large() -> Vec<(f64, f64)> {
    let step: f64 = 0.01;
    let log = |x: f64| (3.0_f64 / 8.0).ln() - 2.5 * (1.0 + x * x / 4.0).ln() + step.ln();
    (-1000..=1000).map(|k| f64::from(k) * step).map(|x| (x, log(x))).collect()
}

/// Errors of the baseline, standard normal, with ln(density × step), so fine that no other sum comes nearer.
fn fine(error: f64) -> Vec<(f64, f64)> {
    if error <= 0.0 {
        return vec![(0.0, 0.0)];
    }
    let step = 0.01;
    (-500..=500)
        .map(|k| (f64::from(k) * step, -0.5 * (f64::from(k) * step).powi(2)))
        .map(|(node, log)| (node, log - 0.5 * std::f64::consts::TAU.ln() + step.ln()))
        .collect()
}

/// ln L of readings moved by `course` (natural units) where her baseline errs by `node` standard deviations.
fn plain(series: &Series, course: &[f64], node: f64) -> f64 {
    let odd = 36.0;
    let (mut sum, mut last) = (0.0, None::<f64>);
    for (k, course) in course.iter().enumerate() {
        let per = series.per_spread[k];
        let departure = (series.gap[k] - course - node * series.error[k]) * per;
        let wide = 1.0 + (0.3 * course * per).powi(2);
        let innovation = match last {
            Some(last) => {
                let memory = series.memory[k];
                (departure - memory * last.clamp(-3.0, 3.0)) / (1.0 - memory * memory).sqrt()
            }
            None => departure,
        };
        let square = (innovation * innovation / wide).min(odd);
        sum -= (series.tail + 1.0) / 2.0 * (1.0 + square / series.tail).ln() + 0.5 * wide.ln();
        last = Some(departure);
    }
    sum
}

fn summed(series: &Series, course: &[f64], nodes: &[(f64, f64)]) -> f64 {
    let logs: Vec<f64> = nodes.iter().map(|(node, weight)| weight + plain(series, course, *node)).collect();
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    top + logs.iter().map(|log| (log - top).exp()).sum::<f64>().ln()
}

/// Courses of every template on one signal's readings, the table's ln beside the plain one's: the most they differ by where
/// the plain one is above `from`, and in how many cells it is.
fn most_apart(series: &Series, nodes: &[(f64, f64)], from: f64) -> (f64, u32) {
    let places = onsets(&series.hours, -240.0);
    let nothing = vec![0.0; series.hours.len()];
    let well = summed(series, &nothing, nodes);
    let (mut most, mut cells) = (0.0_f64, 0);
    let courses = READY.iter().flat_map(|ready| ready.courses.iter().map(|course| (course, ready.template)));
    for (ready, template) in courses.filter(|(ready, _)| ready.course.signal == series.signal) {
        let found = table(series, &Well::of(series), ready, template.paces, &places);
        let mut found = found.iter();
        for (pace, _) in template.paces {
            for onset in &places {
                for amplitude in &ready.amplitudes {
                    let course = course(series, ready, *amplitude, onset.hours, *pace);
                    let plain = summed(series, &course, nodes) - well;
                    let found = found.next().unwrap().ln();
                    if from < plain {
                        most = most.max((found - plain).abs());
                        cells += 1;
                    }
                }
            }
        }
        assert!(found.next().is_none());
    }
    (most, cells)
}

fn course(series: &Series, ready: &Ready, amplitude: f64, onset_h: f64, pace: f64) -> Vec<f64> {
    let moved = |hours: &f64| amplitude * ready.course.size * ready.shape_at((hours - onset_h) / pace);
    series.hours.iter().map(moved).collect()
}

#[test]
fn the_table_is_the_equation() {
    for (signal, seed) in
        [(Signal::Milk, 1), (Signal::Activity, 2), (Signal::Rumination, 3), (Signal::MilkTemperature, 4)]
    {
        let series = readings(signal, seed, 0.0, false);
        let (most, cells) = most_apart(&series, &fine(0.0), f64::NEG_INFINITY);
        assert!(most < 0.002 && 500 < cells, "{signal:?}: {most} in {cells} cells");
    }
}

#[test]
fn three_nodes_sum_a_small_error_of_the_baseline() {
    // A third of a spread, in cells that are not 400 times less likely than that she is well.
    for (signal, seed) in [(Signal::Milk, 5), (Signal::Interval, 6)] {
        let series = readings(signal, seed, 0.03, false);
        let (most, cells) = most_apart(&series, &fine(0.03), -6.0);
        assert!(most < 0.45 && 500 < cells, "{signal:?}: {most} in {cells} cells");
    }
}

#[test]
fn evenly_spaced_nodes_sum_a_large_one() {
    // Three spreads, in cells that are likelier than that she is well. Below, the nodes end before the error that would make
    // up for a course of more than she fell by.
    let series = readings(Signal::Milk, 5, 0.3, true);
    let (most, cells) = most_apart(&series, &fine_and_large(), 0.0);
    assert!(most < 0.45 && 500 < cells, "{most} in {cells} cells");
}

#[test]
fn a_baseline_that_is_far_off_is_not_taken_for_a_course() {
    // All ten days stand twelve spreads below a baseline whose error is two: six of its standard deviations. No course that
    // began within those days explains it much better than that the baseline is wrong; a normal error would say e^20.
    let mut series = readings(Signal::Milk, 7, 0.2, true);
    for gap in &mut series.gap {
        *gap = gap.clamp(-0.15, 0.15) - 1.2;
    }
    let (mut most, nothing) = (f64::NEG_INFINITY, vec![0.0; series.hours.len()]);
    let well = summed(&series, &nothing, &fine_and_large());
    for ready in READY.iter() {
        for course in ready.courses.iter().filter(|course| course.course.signal == Signal::Milk) {
            let places = onsets(&series.hours, -240.0);
            let found = table(&series, &Well::of(&series), course, ready.template.paces, &places);
            most = found.into_iter().map(f64::ln).fold(most, f64::max);
        }
    }
    assert!(most < 8.0, "{most}; ln L of a well cow {well}");
}

/// Ratios of a course from a first reading on, in registers of a kind.
struct Asked<'a> {
    lanes: Lanes,
    well: &'a Well,
    moved: &'a [f32],
    first: usize,
    ratios: &'a mut [f64],
}

impl InEight for Asked<'_> {
    type Answer = ();

    #[inline(always)]
    fn reckon<S: Eight>(mut self, eight: S) {
        self.lanes.ratios(eight, self.well, self.moved, self.first, self.ratios);
    }
}

#[test]
fn wide_registers_change_no_bit() {
    let mut told = 0;
    for (error, wide) in [(0.0, false), (0.05, false), (0.5, true)] {
        let series = readings(Signal::Rumination, 7, error, wide);
        let well = Well::of(&series);
        let courses = READY.iter().flat_map(|ready| &ready.courses);
        for course in courses.filter(|course| course.course.signal == Signal::Rumination) {
            for first in [0, 7, 22] {
                let moved: Vec<f32> = (first..30).map(|k| -1.7 * (k as f32 / 9.0).sin()).collect();
                let [mut widest, mut plain] = [(); 2].map(|()| vec![0.0; course.amplitudes.len()]);
                let asked = |ratios| {
                    let lanes = Lanes::of(&well, &course.amplitudes);
                    Asked { lanes, well: &well, moved: &moved, first, ratios }
                };
                in_eight(asked(&mut widest));
                asked(&mut plain).reckon(pulp::Scalar256b);
                assert!(widest.iter().zip(&plain).all(|(a, b): (&f64, &f64)| a.to_bits() == b.to_bits()));
                told += widest.iter().filter(|ratio| 0.0 < **ratio && **ratio != 1.0).count();
            }
        }
    }
    assert!(100 < told, "{told}");
}

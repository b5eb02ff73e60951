//! How likely is each onset, pace and severity of one cause, in each place it may sit?
//!
//! The sum of [`super`]: the prior of a cell times the likelihood ratios of its signals, each summed over how strongly the
//! signal takes part, discounted for signals that wander together.

use std::cell::OnceCell;

use super::{
    digits::ln_each,
    grid::Onset,
    likelihood::{READY, Ready, ReadyTemplate, log_sum, table},
    noise::Noise,
    series::Series,
    well::Well,
};
use crate::herd::Quarter;

/// One cell of the sum: quarter, onset, pace, severity, and its logarithmic weight.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Cell {
    pub quarter: Option<Quarter>,
    pub onset: usize,
    pub pace: usize,
    pub severity: usize,
    /// ln(prior of the cell × likelihood ratio).
    pub weight: f64,
}

/// What one template makes of a cow.
pub(crate) struct Evidence {
    /// Place of the template among all.
    pub place: usize,
    pub ready: &'static ReadyTemplate,
    pub cells: Vec<Cell>,
    /// ln of the weight of all of them.
    pub total: f64,
    /// ln of the weight of onsets so long ago that it has passed.
    pub passed: f64,
    /// ln likelihood ratio by cell and course (`courses.len()` a cell), discounted.
    pub parts: Vec<f64>,
}

/// One signal's readings, and how they look when she is well, reckoned once for all causes that ask.
pub(crate) struct Read {
    /// The readings.
    pub series: Series,
    well: OnceCell<Well>,
}

impl Read {
    /// Of one signal.
    pub fn of(series: Series) -> Read {
        Read { series, well: OnceCell::new() }
    }

    fn well(&self) -> &Well {
        self.well.get_or_init(|| Well::of(&self.series))
    }
}

/// Weighs the template at `place` in the `places` given (quarters, or `None` for the whole cow): onset, pace and severity.
/// `begun` says how many onsets are expected in a cell.
pub(crate) fn weigh(
    place: usize,
    places: &[Option<Quarter>],
    series: &[Read],
    onsets: &[Onset],
    begun: impl Fn(&Onset) -> f64,
    noise: &Noise,
) -> Evidence {
    let ready = &READY[place];
    let template = ready.template;
    let severities = template.severities.len();
    let tables: Vec<Vec<(Option<Quarter>, Vec<f64>)>> = ready
        .courses
        .iter()
        .map(|course| {
            series
                .iter()
                .filter(|read| read.series.signal == course.course.signal)
                .filter(|read| {
                    let own = read.series.quarter;
                    places.iter().any(|place| template.reads(course.course.signal, *place) == own)
                })
                .map(|read| {
                    let ratios = table(&read.series, read.well(), course, template.paces, onsets);
                    (read.series.quarter, mixed(course, &ratios))
                })
                .collect()
        })
        .collect();
    let of = if template.in_quarter { 4.0 } else { 1.0 };
    let size = places.len() * onsets.len() * template.paces.len() * template.severities.len();
    let mut cells = Vec::with_capacity(size);
    let mut parts = Vec::with_capacity(size * ready.courses.len());
    let mut row = vec![0.0; ready.courses.len()];
    let mut passed: Vec<f64> = Vec::new();
    let holds_h = template.holds_days.map_or(f64::INFINITY, |days| 24.0 * days);
    let log_severities: Vec<f64> = template.severities.iter().map(|(_, weight)| weight.ln()).collect();
    let begun: Vec<f64> = onsets.iter().map(begun).collect();
    for quarter in places {
        // The series each course reads for this quarter; none where nothing was measured.
        let own: Vec<Option<&[f64]>> = tables
            .iter()
            .zip(&ready.courses)
            .map(|(tables, course)| {
                let read = template.reads(course.course.signal, *quarter);
                tables.iter().find(|(of, _)| *of == read).map(|(_, table)| table.as_slice())
            })
            .collect();
        for (pace, (_, pace_weight)) in template.paces.iter().enumerate() {
            for (onset, span) in onsets.iter().enumerate() {
                let prior = (begun[onset] * pace_weight / of).ln();
                for (severity, log_severity) in log_severities.iter().enumerate() {
                    let place = (pace * onsets.len() + onset) * severities + severity;
                    for (part, table) in row.iter_mut().zip(&own) {
                        *part = table.map_or(0.0, |table| table[place]);
                    }
                    let discount = noise.discount(&row);
                    for part in &mut row {
                        *part *= discount;
                    }
                    let weight = prior + log_severity + row.iter().sum::<f64>();
                    if span.hours < -holds_h {
                        passed.push(weight);
                        continue;
                    }
                    cells.push(Cell { quarter: *quarter, onset, pace, severity, weight });
                    parts.extend_from_slice(&row);
                }
            }
        }
    }
    let total = log_sum(cells.iter().map(|cell| cell.weight));
    Evidence { place, ready, cells, total, passed: log_sum(passed.into_iter()), parts }
}

/// ln, `[pace][onset][severity]`, from `[pace][onset][amplitude]`.
fn mixed(course: &Ready, ratios: &[f64]) -> Vec<f64> {
    let mut mixed = Vec::with_capacity(ratios.len() / course.amplitudes.len() * course.parts.len());
    for ratios in ratios.chunks(course.amplitudes.len()) {
        mixed.extend(course.parts.iter().map(|parts| mix(parts, ratios)));
    }
    ln_each(&mut mixed);
    mixed
}

/// Σ_m P(m) · LR(m): how strongly a signal takes part is not known beforehand.
fn mix(parts: &[(Option<usize>, f64)], ratios: &[f64]) -> f64 {
    parts.iter().map(|(place, weight)| weight * place.map_or(1.0, |place| ratios[place])).sum()
}

/// The series with one cell's courses taken off: what is left for other causes to explain.
///
/// Of each signal as much is taken off as its readings bear out: the mean share under the cell.
pub(crate) fn taken_off(evidence: &Evidence, cell: &Cell, series: &[Read], onsets: &[Onset]) -> Vec<Series> {
    let template = evidence.ready.template;
    let (onset, pace) = (onsets[cell.onset], template.paces[cell.pace]);
    let mut left: Vec<Series> = series.iter().map(|read| read.series.clone()).collect();
    for course in &evidence.ready.courses {
        let read = template.reads(course.course.signal, cell.quarter);
        let own = left.iter_mut().find(|one| one.signal == course.course.signal && one.quarter == read);
        let Some(own) = own else { continue };
        let ratios = table(own, &Well::of(own), course, &[pace], &[onset]);
        let (mut sum, mut amplitude) = (0.0, 0.0);
        for (place, weight) in &course.parts[cell.severity] {
            let (size, ratio) = place.map_or((0.0, 1.0), |place| (course.amplitudes[place], ratios[place]));
            let likelihood = weight * ratio;
            sum += likelihood;
            amplitude += likelihood * size;
        }
        if 0.0 < sum {
            own.take_off(course.course.size * amplitude / sum, |hours| {
                course.shape_at((hours - onset.hours) / pace.0)
            });
        }
    }
    left
}

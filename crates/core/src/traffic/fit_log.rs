//! A farm's log as the fit takes it: minutes of the farm's clock, who was in which box, and when a box stood open.

/// What a row of a visit says came of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Came {
    /// Milked, wholly or in part.
    Milked,
    /// Nothing or nearly nothing came.
    Failed,
    /// No milking was due, or feed only.
    NotDue,
}

/// A stay in a box; minutes of the farm's wall clock since a midnight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stay {
    /// Place of the cow.
    pub cow: u32,
    /// Place of the box.
    pub at_box: u16,
    /// In.
    pub from: f64,
    /// Out.
    pub to: f64,
    /// What came of it.
    pub came: Came,
    /// Milk, kg.
    pub milk_kg: Option<f64>,
}

/// A time a box was closed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shut {
    /// Place of the box.
    pub at_box: u16,
    /// From.
    pub from: f64,
    /// To.
    pub to: f64,
    /// Cleaning 0, service 1, breakdown or off 2.
    pub kind: usize,
}

/// What is known of a cow beside her visits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Known {
    /// In her first lactation.
    pub first: Option<bool>,
    /// Days in milk at the end of the log.
    pub days: Option<f64>,
}

/// A stretch of a farm's log. Stays in order of `from`.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Log {
    /// Cows by place.
    pub cows: Vec<Known>,
    /// How many boxes.
    pub boxes: usize,
    /// Its ends, minutes.
    pub span: (f64, f64),
    /// Stays.
    pub stays: Vec<Stay>,
    /// Closures.
    pub shut: Vec<Shut>,
    /// Whether closures are logged at all.
    pub tells_shut: bool,
    /// Whether visits of cows that were not due are logged at all.
    pub tells_not_due: bool,
}

/// A box must have stood open so long before an entry counts as one that found it so, min.
const STOOD_OPEN_MIN: f64 = 2.0;

/// Times at which some box had stood open and empty for two minutes: whoever enters then did not wait, so that coming can
/// be told from waiting though no log tells it.
#[derive(Debug, Clone, PartialEq)]
pub struct Open {
    /// Spans in order, apart.
    spans: Vec<(f64, f64)>,
    /// Minutes before each of them.
    before: Vec<f64>,
}

impl Open {
    /// Those of a log.
    pub fn of(log: &Log) -> Open {
        let mut gaps = Vec::new();
        for number in 0..log.boxes as u16 {
            let stays =
                log.stays.iter().filter(|stay| stay.at_box == number).map(|stay| (stay.from, stay.to));
            let shut = log.shut.iter().filter(|shut| shut.at_box == number).map(|shut| (shut.from, shut.to));
            let mut used: Vec<(f64, f64)> = stays.chain(shut).collect();
            used.sort_by(|one, other| one.0.total_cmp(&other.0));
            let mut free_from = log.span.0;
            for (from, to) in used {
                if free_from + STOOD_OPEN_MIN < from {
                    gaps.push((free_from + STOOD_OPEN_MIN, from));
                }
                free_from = free_from.max(to);
            }
            if free_from + STOOD_OPEN_MIN < log.span.1 {
                gaps.push((free_from + STOOD_OPEN_MIN, log.span.1));
            }
        }
        gaps.sort_by(|one, other| one.0.total_cmp(&other.0));
        let mut spans: Vec<(f64, f64)> = Vec::new();
        for (from, to) in gaps {
            match spans.last_mut() {
                Some(last) if from <= last.1 => last.1 = last.1.max(to),
                _ => spans.push((from, to)),
            }
        }
        let mut sum = 0.0;
        let before = spans
            .iter()
            .map(|(from, to)| {
                let own = sum;
                sum += to - from;
                own
            })
            .collect();
        Open { spans, before }
    }

    /// Open minutes up to a time.
    fn up_to(&self, at: f64) -> f64 {
        let place = self.spans.partition_point(|span| span.0 <= at);
        match place.checked_sub(1) {
            None => 0.0,
            Some(last) => {
                let (from, to) = self.spans[last];
                self.before[last] + (at.min(to) - from)
            }
        }
    }

    /// Open minutes of a stretch.
    pub fn within(&self, from: f64, to: f64) -> f64 {
        (self.up_to(to) - self.up_to(from)).max(0.0)
    }

    /// Whether a box stood open at the moment somebody entered.
    pub fn at(&self, at: f64) -> bool {
        let place = self.spans.partition_point(|span| span.0 <= at);
        place.checked_sub(1).is_some_and(|last| at <= self.spans[last].1)
    }
}

/// What a log shows, to be held beside what a simulated pen shows.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Shown {
    /// Cows in milk on a day.
    pub cows: f64,
    /// Milkings a cow and day.
    pub milkings: f64,
    /// Not due, a cow and day.
    pub turned_away: f64,
    /// Milk a cow and day, kg.
    pub milk_kg: f64,
    /// Mean hours between milkings.
    pub interval_h: f64,
    /// Their 10th percentile.
    pub interval_low_h: f64,
    /// Their 90th percentile.
    pub interval_high_h: f64,
    /// Idle share of box time.
    pub idle: f64,
    /// Visits a box and hour of the clock.
    pub by_hour: Vec<f64>,
}

/// Longest interval that is one of a cow in milk, h.
const LONGEST_H: f64 = 48.0;

impl Shown {
    /// Of a log.
    pub fn of(log: &Log) -> Shown {
        let days = ((log.span.1 - log.span.0) / 1440.0).max(1e-9);
        let within = |at: f64| log.span.0 <= at && at < log.span.1;
        let mut last = vec![f64::NAN; log.cows.len()];
        let mut intervals = Vec::new();
        let (mut milkings, mut not_due, mut milk_kg, mut busy) = (0_u32, 0_u32, 0.0, 0.0);
        let mut by_hour = vec![0.0; 24];
        // Cow-days: a cow counts from her first to her last milking of the log.
        let mut ends: Vec<(f64, f64)> = vec![(f64::INFINITY, f64::NEG_INFINITY); log.cows.len()];
        for stay in &log.stays {
            busy += (stay.to.min(log.span.1) - stay.from.max(log.span.0)).max(0.0);
            if !within(stay.from) {
                continue;
            }
            by_hour[(stay.from / 60.0).rem_euclid(24.0) as usize % 24] += 1.0;
            match stay.came {
                Came::NotDue => not_due += 1,
                Came::Failed => {}
                Came::Milked => {
                    milkings += 1;
                    milk_kg += stay.milk_kg.unwrap_or(0.0);
                    let cow = stay.cow as usize;
                    let hours = (stay.from - last[cow]) / 60.0;
                    if hours.is_finite() && hours < LONGEST_H {
                        intervals.push(hours);
                    }
                    last[cow] = stay.from;
                    ends[cow] = (ends[cow].0.min(stay.from), ends[cow].1.max(stay.from));
                }
            }
        }
        // Half an interval at either end belongs to her too.
        let cow_days: f64 = ends
            .iter()
            .filter(|(from, to)| from <= to)
            .map(|(from, to)| ((to - from) / 1440.0 + 0.37).min(days))
            .sum();
        let shut: f64 =
            log.shut.iter().map(|shut| (shut.to.min(log.span.1) - shut.from.max(log.span.0)).max(0.0)).sum();
        intervals.sort_by(f64::total_cmp);
        let quantile = |share: f64| {
            intervals
                .get(((intervals.len() as f64 * share) as usize).min(intervals.len().saturating_sub(1)))
                .copied()
                .unwrap_or(0.0)
        };
        let box_days = log.boxes.max(1) as f64 * days;
        by_hour.iter_mut().for_each(|count| *count /= box_days);
        Shown {
            cows: cow_days / days,
            milkings: f64::from(milkings) / cow_days.max(1e-9),
            turned_away: f64::from(not_due) / cow_days.max(1e-9),
            milk_kg: milk_kg / cow_days.max(1e-9),
            interval_h: intervals.iter().sum::<f64>() / intervals.len().max(1) as f64,
            interval_low_h: quantile(0.1),
            interval_high_h: quantile(0.9),
            idle: 1.0 - (busy + shut) / (1440.0 * box_days),
            by_hour,
        }
    }
}

/// By how much chance moves the visits of each hour of the clock, all days of a log together: standard errors of their
/// means over these, 24 of them; none of a log of fewer than two days.
///
/// From the days' own counts: visits are neither Poisson, since boxes even them out, nor alike from day to day.
pub fn hour_errors(log: &Log) -> Vec<f64> {
    // A log that begins with its first visit lacks some minutes of a whole number of days.
    let days = ((log.span.1 - log.span.0) / 1440.0 + 0.05).floor() as usize;
    if days < 2 {
        return Vec::new();
    }
    let mut counts = vec![[0.0; 24]; days];
    for stay in &log.stays {
        let day = ((stay.from - log.span.0) / 1440.0).floor();
        if let Some(own) = (0.0 <= day).then(|| counts.get_mut(day as usize)).flatten() {
            own[(stay.from / 60.0).rem_euclid(24.0) as usize % 24] += 1.0;
        }
    }
    let error = |hour: usize| {
        let mut spread = super::Spread::default();
        counts.iter().for_each(|day| spread.add(day[hour]));
        spread.error() / spread.mean().mean.max(1.0 / days as f64)
    };
    (0..24).map(error).collect()
}

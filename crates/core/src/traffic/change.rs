//! The words of a scenario: what of the farm is to be another, as a person writes it.
//!
//! `cows=130 boxes=3 milk=34 visit=7 fetch=6/14/22 feed=8/16 pushes=6/10/14/18 shortest=5/7/9 shortest=+1 kg=9 longest=12
//! patience=60 traffic=guided fresh-pen=30/1 fails=3 cleanings=4/12/20`

use super::{
    pen::{Coming, Traffic},
    setup::{Cows, FreshPen, Setup},
};

/// Most hours of a list.
const MOST_HOURS: usize = 48;

/// What is to be another; `None` stays as it is.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Change {
    /// Cows.
    pub cows: Option<usize>,
    /// Boxes.
    pub boxes: Option<usize>,
    /// Mean milk of a cow and day at 2.8 milkings, kg.
    pub milk_kg: Option<f64>,
    /// Minutes a visit of an average cow takes at 2.8 milkings.
    pub visit_min: Option<f64>,
    /// Hours of the rounds of people.
    pub fetch_h: Option<Vec<f64>>,
    /// Hours of deliveries of feed.
    pub feed_h: Option<Vec<f64>>,
    /// Hours of pushes.
    pub pushes_h: Option<Vec<f64>>,
    /// Shortest intervals by stage, h.
    pub shortest_h: Option<[f64; 3]>,
    /// Hours by which they are others.
    pub shortest_by_h: Option<f64>,
    /// Milk that lets a cow in sooner, kg.
    pub kg: Option<f64>,
    /// Hours after which cows are brought.
    pub longest_h: Option<f64>,
    /// Mean patience, min.
    pub patience_min: Option<f64>,
    /// Free or guided.
    pub traffic: Option<Traffic>,
    /// A pen for fresh cows.
    pub fresh_pen: Option<FreshPen>,
    /// Milkings that fail, per cent.
    pub fails: Option<f64>,
    /// Hours of cleanings.
    pub cleaned_h: Option<Vec<f64>>,
}

impl Change {
    /// Reads words.
    ///
    /// # Errors
    /// Says what was not understood, in words.
    pub fn read(words: &str) -> Result<Change, String> {
        let mut change = Change::default();
        for word in words.split_whitespace() {
            let (name, value) =
                word.split_once('=').ok_or_else(|| format!("`{word}` has no `=` between name and figure"))?;
            change.set(name, value)?;
        }
        Ok(change)
    }

    /// Sets one of it; an empty value leaves it as it is.
    ///
    /// # Errors
    /// Says what was not understood, in words.
    pub fn set(&mut self, name: &str, value: &str) -> Result<(), String> {
        let value = value.trim();
        if value.is_empty() {
            return Ok(());
        }
        let wrong = |what: &str| format!("`{name}={value}`: {what}");
        let within = |low: f64, high: f64, what: &str| {
            let figure = value.parse::<f64>().ok().filter(|figure| low <= *figure && *figure <= high);
            figure.ok_or_else(|| wrong(&format!("{what}, {low} to {high}")))
        };
        let whole = |high: usize, what: &str| {
            let figure = value.parse::<usize>().ok().filter(|figure| *figure <= high);
            figure.ok_or_else(|| wrong(&format!("{what}, a whole number up to {high}")))
        };
        match name {
            "cows" => self.cows = Some(whole(super::pen::MOST_COWS, "cows")?),
            "boxes" => self.boxes = Some(whole(super::pen::MOST_BOXES, "boxes")?),
            "milk" => self.milk_kg = Some(within(5.0, 80.0, "kg of milk a cow and day")?),
            "visit" => self.visit_min = Some(within(2.0, 30.0, "minutes a visit")?),
            "fetch" => self.fetch_h = Some(hours(value).ok_or_else(|| wrong(HOURS))?),
            "feed" => self.feed_h = Some(hours(value).ok_or_else(|| wrong(HOURS))?),
            "pushes" => self.pushes_h = Some(hours(value).ok_or_else(|| wrong(HOURS))?),
            "cleanings" => self.cleaned_h = Some(hours(value).ok_or_else(|| wrong(HOURS))?),
            "shortest" if value.starts_with(['+', '-', '−']) => {
                let figure = value.replace('−', "-").parse::<f64>().ok().filter(|by| by.abs() <= 12.0);
                self.shortest_by_h = Some(figure.ok_or_else(|| wrong("hours more or less, up to 12"))?);
            }
            "shortest" => {
                let parts = figures(value).filter(|all| all.iter().all(|one| *one <= 24.0));
                let three = parts.and_then(|all| match all[..] {
                    [one] => Some([one; 3]),
                    [early, mid, late] => Some([early, mid, late]),
                    _ => None,
                });
                self.shortest_h = Some(three.ok_or_else(|| {
                    wrong("hours of early, mid and late lactation as in 5/7/9, or +1 for an hour more")
                })?);
            }
            "kg" => self.kg = Some(within(1.0, 40.0, "kg of milk")?),
            "longest" => self.longest_h = Some(within(1.0, 72.0, "hours")?),
            "patience" => self.patience_min = Some(within(1.0, 10_000.0, "minutes")?),
            "fails" => self.fails = Some(within(0.0, 90.0, "per cent")?),
            "traffic" => {
                self.traffic = Some(match value {
                    "free" => Traffic::Free,
                    "guided" => Traffic::Guided,
                    _ => return Err(wrong("traffic is free or guided")),
                });
            }
            "fresh-pen" => {
                let parts =
                    figures(value).filter(|all| all.len() == 2 && 1.0 <= all[0] && all[1].fract() == 0.0);
                let parts = parts.ok_or_else(|| wrong("last day in milk and boxes, as in 30/1"))?;
                self.fresh_pen = Some(FreshPen { until_day: parts[0], boxes: parts[1] as usize });
            }
            _ => return Err(format!("nothing of a scenario is called `{name}`")),
        }
        Ok(())
    }

    /// Whether nothing is to be another.
    pub fn is_nothing(&self) -> bool {
        *self == Change::default()
    }

    /// The setup with it.
    pub fn of(&self, setup: &Setup) -> Setup {
        let mut setup = setup.clone();
        if let Some(cows) = self.cows {
            setup.cows = cows;
        }
        if let Some(boxes) = self.boxes {
            setup.boxes = boxes;
        }
        if let Some(traffic) = self.traffic.filter(|traffic| *traffic != setup.traffic) {
            let usual = Coming::usual(traffic, &setup.feeding);
            setup.since_per_h = usual.since_per_h;
            setup.traffic = traffic;
            if traffic == Traffic::Guided {
                setup.queue.patience_min = f64::INFINITY;
            }
        }
        if let Some(milk_kg) = self.milk_kg {
            setup.set_milk(milk_kg);
        }
        if let Some(kg) = self.kg {
            setup.set_kg(kg);
        }
        if let Some(hours) = self.shortest_h {
            setup.set_shortest(hours);
        }
        if let Some(by_h) = self.shortest_by_h {
            setup.shortest_by_h = by_h;
        }
        if let Some(hours) = self.longest_h {
            setup.set_longest(hours);
        }
        if let Some(minutes) = self.visit_min {
            // What a visit takes beyond the flow gives way, and the flow with it where that is not enough.
            setup.service.handling_min = (setup.service.handling_min + minutes - setup.visit_min()).max(0.1);
        }
        if let Some(share) = self.fails {
            setup.service.failed_share = share / 100.0;
        }
        if let Some(minutes) = self.patience_min {
            setup.queue.patience_min = minutes;
        }
        let lists = [
            (&self.fetch_h, &mut setup.fetching.rounds_h),
            (&self.feed_h, &mut setup.feeding.delivered_h),
            (&self.pushes_h, &mut setup.feeding.pushed_h),
            (&self.cleaned_h, &mut setup.closures.cleaned_h),
        ];
        for (wanted, own) in lists {
            if let Some(hours) = wanted {
                own.clone_from(hours);
            }
        }
        if self.fresh_pen.is_some() {
            setup.fresh_pen = self.fresh_pen;
        }
        setup
    }
}

const HOURS: &str = "hours of the clock, as in 6/17.5, or none";

fn figures(value: &str) -> Option<Vec<f64>> {
    let parts = value.split(['/', ',']).map(|part| part.trim().parse::<f64>().ok());
    parts.map(|one| one.filter(|one| one.is_finite() && 0.0 <= *one)).collect()
}

/// Hours of the clock: `6/17.5`, `6:00/17:30`, `none`.
fn hours(value: &str) -> Option<Vec<f64>> {
    if value == "none" {
        return Some(Vec::new());
    }
    let one = |part: &str| -> Option<f64> {
        let part = part.trim();
        let hour = match part.split_once(':') {
            None => part.parse::<f64>().ok()?,
            Some((hours, minutes)) => {
                let minutes = minutes.parse::<f64>().ok().filter(|minutes| (0.0..60.0).contains(minutes))?;
                hours.parse::<f64>().ok()? + minutes / 60.0
            }
        };
        (0.0..24.0).contains(&hour).then_some(hour)
    };
    let all: Option<Vec<f64>> = value.split(['/', ',']).map(one).collect();
    all.filter(|all| all.len() <= MOST_HOURS)
}

impl Setup {
    /// Sets the mean milk of a cow and day, kg; a farm's own cows are scaled.
    pub fn set_milk(&mut self, milk_kg: f64) {
        match &mut self.herd {
            Cows::Drawn(about) => about.yield_kg = milk_kg,
            Cows::Own(own) => {
                let daily = |cow: &super::Cow| {
                    2.8 * cow.rate_kg_h * crate::expect::secretion::g(24.0 / 2.8, cow.kappa_per_h)
                };
                let mean = own.iter().map(daily).sum::<f64>() / own.len().max(1) as f64;
                let cows =
                    own.iter().map(|cow| super::Cow { rate_kg_h: cow.rate_kg_h * milk_kg / mean, ..*cow });
                *own = std::sync::Arc::new(cows.collect());
            }
        }
    }
}

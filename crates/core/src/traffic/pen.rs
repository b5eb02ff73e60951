//! A pen as it is to be simulated: cows, boxes, when cows come, what a visit takes, what closes a box, who fetches.
//!
//! # Equation
//! Hazard that a cow that is neither waiting nor in a box comes, 1/h: frailty · since(pace · h) · hour(clock)
//!   since  by half-hours since her last milking    hour  by half-hours of the clock, mean 1 over the default day
//!   since(s) = max(floor, (k/S)·(s/S)^(k−1)), level beyond 18 h;   k 3.06 as [`crate::coming`]
//! S and floor are the two figures with which a pen of 57.6 cows a box at 37.3 kg has 2.8 milkings and 1.15 visits
//! turned away a cow and day (`sources.md` §1, Peiter et al. 2019); a test holds them.
//! # Source
//! `docs/sources.md` §1, §11. What has no source there is a stated default, said beside its name.

use super::herd::{Cow, Drawn, Stock};

/// Half-hours of the hazard since the last milking: 36 h; the last one holds beyond.
pub const SINCE: usize = 72;
/// Half-hours of a day.
pub const HALVES: usize = 48;
/// Most boxes of a pen: a word's bits less a few.
pub const MOST_BOXES: usize = 60;
/// Most cows of a pen.
pub const MOST_COWS: usize = 20_000;

/// How cows reach the boxes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Traffic {
    /// Every cow goes to the box when she likes; one that is not due takes box time and is turned away.
    Free,
    /// A gate on the way to feed sends cows that are due to a holding pen, and lets the others pass.
    Guided,
}

/// When cows come.
#[derive(Debug, Clone, PartialEq)]
pub struct Coming {
    /// Hazard by half-hours since the last milking, 1/h, [`SINCE`] of them.
    pub since_per_h: Vec<f64>,
    /// Factor by half-hours of the clock, [`HALVES`] of them.
    pub hour: Vec<f64>,
    /// Visits that come to the pen at a constant rate, whoever makes them, 1/min; for queues with a known answer.
    pub together_per_min: Option<f64>,
}

/// Weibull shape of the interval (`coming::basis`).
const SHAPE: f64 = 3.06;
/// Weibull scale, h: see the top.
pub const SCALE_H: f64 = 7.65;
/// Least hazard of coming, 1/h: see the top.
pub const FLOOR_PER_H: f64 = 0.06;
/// Hours beyond which waiting longer drives no more.
const LEVEL_FROM_H: f64 = 18.0;
/// Meals a day of cows in guided traffic, each past the gate (`sources.md` §11: 9 to 14 meals, second-hand; 9.0 ± 2.0 read).
const MEALS_A_DAY: f64 = 9.0;

/// When feed is there.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Feeding {
    /// Hours of the clock at which fresh feed comes.
    pub delivered_h: Vec<f64>,
    /// Hours at which it is pushed up.
    pub pushed_h: Vec<f64>,
    /// Coming after a delivery, over before: + this, fading with the hours below.
    pub delivery_pull: f64,
    /// The same after a push.
    pub push_pull: f64,
    /// Hours in which a delivery's pull falls to 1/e.
    pub delivery_fades_h: f64,
    /// Hours in which a push's pull falls to 1/e.
    pub push_fades_h: f64,
}

impl Default for Feeding {
    /// One delivery and four pushes; that fresh feed and not pushing drives the rush is read (`sources.md` §11, DeVries et
    /// al.: direction), how much is a stated default.
    fn default() -> Feeding {
        Feeding {
            delivered_h: vec![8.0],
            pushed_h: vec![5.0, 11.5, 15.0, 19.0],
            delivery_pull: 0.6,
            push_pull: 0.1,
            delivery_fades_h: 1.5,
            push_fades_h: 1.0,
        }
    }
}

impl Feeding {
    /// Pull of the feed at an hour of the clock, 1 and above.
    pub fn pull(&self, hour: f64) -> f64 {
        let sum = |at: &[f64], pull: f64, fades_h: f64| -> f64 {
            at.iter().map(|then| pull * (-(hour - then).rem_euclid(24.0) / fades_h).exp()).sum()
        };
        1.0 + sum(&self.delivered_h, self.delivery_pull, self.delivery_fades_h)
            + sum(&self.pushed_h, self.push_pull, self.push_fades_h)
    }
}

/// Night's factor from midnight to five (`coming::basis`: e^−0.4, a stated default for what practice says).
fn night(hour: f64) -> f64 {
    if hour < 5.0 { (-0.4_f64).exp() } else { 1.0 }
}

/// What the clock itself does, by half-hours: the day without its feed, where nothing is known of the farm.
pub fn usual_clock() -> Vec<f64> {
    (0..HALVES).map(|half| night(hour_of(half))).collect()
}

fn hour_of(half: usize) -> f64 {
    (half as f64 + 0.5) / 2.0
}

/// Factors by half-hours of the clock under a feeding, where those under `usual` have mean 1.
pub fn hours_of(clock: &[f64], feeding: &Feeding, usual: &Feeding) -> Vec<f64> {
    let of = |feeding: &Feeding| -> Vec<f64> {
        (0..).zip(clock).map(|(half, own)| own * feeding.pull(hour_of(half))).collect()
    };
    let mean = of(usual).iter().sum::<f64>() / clock.len().max(1) as f64;
    of(feeding).iter().map(|factor| factor / mean).collect()
}

impl Coming {
    /// As cows come where nothing is known of the farm.
    pub fn usual(traffic: Traffic, feeding: &Feeding) -> Coming {
        match traffic {
            Traffic::Free => Coming::free(SCALE_H, FLOOR_PER_H, feeding),
            Traffic::Guided => Coming {
                since_per_h: vec![MEALS_A_DAY / 24.0; SINCE],
                hour: hours_of(&usual_clock(), feeding, &Feeding::default()),
                together_per_min: None,
            },
        }
    }

    /// Free traffic of a scale, h, and a least hazard, 1/h.
    pub fn free(scale_h: f64, floor_per_h: f64, feeding: &Feeding) -> Coming {
        let hazard = |half: usize| {
            let hours = ((half as f64 + 0.5) / 2.0).min(LEVEL_FROM_H);
            (SHAPE / scale_h * (hours / scale_h).powf(SHAPE - 1.0)).max(floor_per_h)
        };
        Coming {
            since_per_h: (0..SINCE).map(hazard).collect(),
            hour: hours_of(&usual_clock(), feeding, &Feeding::default()),
            together_per_min: None,
        }
    }
}

/// What a visit takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Service {
    /// Entering, preparing, attaching, leaving: minutes without flow.
    pub handling_min: f64,
    /// Scatter of it from visit to visit.
    pub handling_cv: f64,
    /// Scatter of the flow's minutes from visit to visit.
    pub flow_cv: f64,
    /// Scatter of a milking's kg about what has gathered.
    pub milk_cv: f64,
    /// Box time of a cow that is not due, min.
    pub turned_away_min: f64,
    /// Share of milkings that fail.
    pub failed_share: f64,
    /// Box time of one that fails, min.
    pub failed_min: f64,
    /// Scatter of it.
    pub failed_cv: f64,
    /// Share of visits due after which a box lets her in again before her shortest interval is over, for milk that
    /// was left behind.
    pub again_share: f64,
    /// From one cow's leaving to the next one's entering, min.
    pub between_min: f64,
    /// Instead of all this, a law with a known answer.
    pub law: Option<Law>,
}

/// A service time that queueing theory knows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    /// Always the same, min.
    Fixed(f64),
    /// Sum of exponentials: mean min, how many.
    Erlang(f64, u32),
    /// Exponential of one of two means, min, with the chance of the first.
    Either(f64, f64, f64),
}

impl Default for Service {
    /// Handling: about 2 min to prepare and attach (`sources.md` §1, practice) and half a minute to leave (stated). Failed:
    /// 5.4 a box-day of 161 milkings, 3.76 ± 2.57 min (read). Others are stated defaults; that no cow is let in again sooner
    /// is one.
    fn default() -> Service {
        Service {
            handling_min: 2.5,
            handling_cv: 0.2,
            flow_cv: 0.15,
            milk_cv: 0.08,
            turned_away_min: 0.7,
            failed_share: 5.4 / (57.6 * 2.8 + 5.4),
            failed_min: 3.76,
            failed_cv: 2.57 / 3.76,
            again_share: 0.0,
            between_min: 0.0,
            law: None,
        }
    }
}

/// How cows wait.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Queue {
    /// The highest cow passes the lowest if she came less than so many minutes after her; 0: first come, first served.
    pub rank_min: f64,
    /// Mean of her patience, min; infinite: she waits for ever.
    pub patience_min: f64,
}

impl Default for Queue {
    /// Waits of 15 min, six a day, longer in first lactation, are read (`sources.md` §11, Solano et al.); how far rank
    /// reaches and when she gives up are stated defaults.
    fn default() -> Queue {
        Queue { rank_min: 15.0, patience_min: 60.0 }
    }
}

/// What closes a box.
#[derive(Debug, Clone, PartialEq)]
pub struct Closures {
    /// Hours at which the first box is cleaned; the others one after another.
    pub cleaned_h: Vec<f64>,
    /// From one box's cleaning to the next one's, min.
    pub cleaned_apart_min: f64,
    /// How long a cleaning lasts, min.
    pub cleaning_min: f64,
    /// Days from one service to the next; infinite: none.
    pub service_every_d: f64,
    /// How long it lasts, min.
    pub service_min: f64,
    /// Mean days between breakdowns of a box; infinite: none.
    pub fault_every_d: f64,
    /// Mean time to repair, min.
    pub fault_min: f64,
}

impl Default for Closures {
    /// Stated defaults: three cleanings of 15 min a day, service of 2 h every 60 days, a breakdown of 1.5 h a month.
    fn default() -> Closures {
        Closures {
            cleaned_h: vec![4.0, 12.0, 20.0],
            cleaned_apart_min: 15.0,
            cleaning_min: 15.0,
            service_every_d: 60.0,
            service_min: 120.0,
            fault_every_d: 30.0,
            fault_min: 90.0,
        }
    }
}

impl Closures {
    /// Boxes that never close.
    pub fn none() -> Closures {
        let never = f64::INFINITY;
        Closures {
            cleaned_h: Vec::new(),
            cleaned_apart_min: 0.0,
            cleaning_min: 0.0,
            service_every_d: never,
            service_min: 0.0,
            fault_every_d: never,
            fault_min: 0.0,
        }
    }
}

/// Rounds of people that bring cows.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Fetching {
    /// Hours of the clock at which somebody goes.
    pub rounds_h: Vec<f64>,
    /// Hours between which people work; rounds outside are not made.
    pub working_h: (f64, f64),
    /// Minutes it takes to bring one cow.
    pub cow_min: f64,
    /// Most minutes of a round.
    pub round_min: f64,
}

impl Default for Fetching {
    /// Two rounds, 3 min a cow, an hour at most: stated defaults.
    fn default() -> Fetching {
        Fetching { rounds_h: vec![6.0, 17.0], working_h: (5.0, 21.0), cow_min: 3.0, round_min: 60.0 }
    }
}

/// A pen.
#[derive(Debug, Clone, PartialEq)]
pub struct Pen {
    /// What it is called.
    pub name: String,
    /// Its cows.
    pub stock: Stock,
    /// Its boxes, 1 to [`MOST_BOXES`].
    pub boxes: usize,
    /// Free or guided.
    pub traffic: Traffic,
    /// When they come.
    pub coming: Coming,
    /// How they wait.
    pub queue: Queue,
    /// What a visit takes.
    pub service: Service,
    /// What closes a box.
    pub closures: Closures,
    /// Who brings them.
    pub fetching: Fetching,
}

impl Pen {
    /// A pen of which nothing is known but its cows and boxes.
    pub fn usual(cows: usize, boxes: usize, traffic: Traffic, about: Drawn) -> Pen {
        Pen {
            name: "Pen".into(),
            stock: Stock::Drawn { count: cows, about },
            boxes,
            traffic,
            coming: Coming::usual(traffic, &Feeding::default()),
            queue: match traffic {
                Traffic::Free => Queue::default(),
                // Nobody leaves a holding pen but through a box.
                Traffic::Guided => Queue { patience_min: f64::INFINITY, ..Queue::default() },
            },
            service: Service::default(),
            closures: Closures::default(),
            fetching: Fetching::default(),
        }
    }

    /// Cows that all come after an exponential time, wait in order and for ever: a queue with a known answer.
    pub fn plain(cows: usize, boxes: usize, away_min: f64, law: Law) -> Pen {
        let cow = Cow {
            rate_kg_h: 1.3,
            kappa_per_h: 0.04,
            flow_kg_min: 2.5,
            minimum_h: 0.0,
            longest_h: f64::INFINITY,
            frailty: 1.0,
            pace: 1.0,
            rank: 0.5,
            first: false,
            days: 150.0,
        };
        Pen {
            name: "Pen".into(),
            stock: Stock::Own { count: cows, of: std::sync::Arc::new(vec![cow; cows]) },
            boxes,
            traffic: Traffic::Free,
            coming: Coming {
                since_per_h: vec![60.0 / away_min; SINCE],
                hour: vec![1.0; HALVES],
                together_per_min: None,
            },
            queue: Queue { rank_min: 0.0, patience_min: f64::INFINITY },
            service: Service { failed_share: 0.0, law: Some(law), ..Service::default() },
            closures: Closures::none(),
            fetching: Fetching { rounds_h: Vec::new(), ..Fetching::default() },
        }
    }
}

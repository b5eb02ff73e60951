//! How box minutes are best used: each cow's interval, what it gives, and what the farm would gain by it.

use cowpath_core::minutes::terms::Terms;
use serde::Serialize;

/// What is asked.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct AskedIntervals {
    /// Box minutes a day for milking, all boxes together; `None`: what the boxes have, less the idle reserve.
    pub box_minutes: Option<f64>,
    /// Other terms than the farm's, tried and not kept.
    pub terms: Option<Terms>,
    /// In metric units, whatever the farm's: for programs.
    pub metric: bool,
}

/// The answer. JSON is metric; money is of the terms' currency.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Intervals {
    /// Name of the farm.
    pub farm: String,
    /// The time it was made for, RFC 3339 in the farm's zone; empty while there are no rows.
    pub at: String,
    /// In words.
    pub at_words: String,
    /// What it comes to, in a few sentences.
    pub summary: String,
    /// Minutes a day there are for milking, and how they come about.
    pub minutes: Minutes,
    /// Worth of one more box minute a day, money; `null` where no settings fit the minutes.
    pub worth_per_minute: Option<f64>,
    /// Money a day of ten more minutes a day, reckoned anew.
    pub worth_of_ten: Option<f64>,
    /// Money a day that limits half an hour shorter for every cow would bring in the same minutes.
    pub worth_of_half_hour: Option<f64>,
    /// The cow whose leaving would cost least or bring most.
    pub least_profitable: Option<Least>,
    /// Which limit gives way first, where the minutes do not suffice; in words. Where it is the reserve, what follows is for the
    /// minutes that milkings take now.
    pub infeasible: Option<String>,
    /// Each cow, by number.
    pub cows: Vec<CowInterval>,
    /// By days in milk and parity: what is typed into a box where it has no setting for each cow.
    pub groups: Vec<GroupInterval>,
    /// What changes against now if each cow has her interval.
    pub change: Option<Changes>,
    /// What changes if each group has its interval.
    pub change_by_group: Option<Changes>,
    /// What is to be typed in; `null` where no settings fit the minutes.
    pub advice: Option<Advice>,
    /// Cows that are left out, and why.
    pub left_out: Vec<LeftOut>,
    /// The terms it was made on.
    pub terms: Terms,
    /// Slowing of the herd's udders as they fill, 1/h.
    pub kappa_per_h: f64,
    /// Largest gap of the closed form at a cow that no limit binds, money a milking: the check.
    pub closed_form_gap: f64,
    /// What must be known before anything is typed in.
    pub cautions: Vec<String>,
    /// What is assumed or not known.
    pub notes: Vec<String>,
}

/// What is to be typed into the boxes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Advice {
    /// An interval for each group.
    ByGroup,
    /// One for each cow: by group money would be lost for sure.
    ByCow,
    /// What stands in them.
    Leave,
}

/// Minutes a day, all boxes together.
#[derive(Debug, Clone, PartialEq, Serialize, Default)]
pub struct Minutes {
    /// Boxes in use.
    pub boxes: usize,
    /// Of a day of all of them.
    pub whole: f64,
    /// Cleaning, service, fault, off.
    pub states: f64,
    /// Turned away, fed only, failed.
    pub other_visits: f64,
    /// Kept idle.
    pub reserve: f64,
    /// For milking: what is left, or what was asked for.
    pub for_milking: f64,
    /// Whether they were asked for.
    pub asked: bool,
    /// Milkings take now, whole or incomplete.
    pub used_now: f64,
    /// Milkings of the cows below take now, at the intervals they have. It differs from `used_now` by cows that came or went in
    /// those days.
    pub now_by_cow: f64,
    /// Days with a visit of a box, of the last fourteen, that this and the cows' habits were taken from.
    pub days: f64,
    /// They would take.
    pub used_then: Option<f64>,
    /// Least that all cows need, at their longest intervals.
    pub least: f64,
    /// In words.
    pub words: String,
}

/// A cow's interval.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CowInterval {
    /// Herd number or name.
    pub animal: String,
    /// Her group: `later lactations, early`.
    pub group: String,
    /// Days in milk.
    pub days_in_milk: Option<f64>,
    /// Lactation number.
    pub parity: Option<u8>,
    /// Best mean interval, h.
    pub interval_h: f64,
    /// It lies here with 90 % certainty as far as her own curve is known, h.
    pub low90_h: f64,
    /// To, h.
    pub high90_h: f64,
    /// `inside`, `shortest` or `longest`: whether a limit binds her.
    pub limit: &'static str,
    /// What her mean interval was chosen within, h: the farm's shortest and what cows here wait, and the longest.
    pub limits_h: (f64, f64),
    /// Milk at that interval, kg a day.
    pub milk_kg: f64,
    /// With 90 % certainty from, kg a day.
    pub low90_kg: f64,
    /// To, kg a day.
    pub high90_kg: f64,
    /// Box time at that interval, min a day.
    pub minutes: f64,
    /// Milk expected in her udder at that interval, kg.
    pub expected_kg: f64,
    /// What she leaves when her minutes are paid at their worth, money a day.
    pub left_over: f64,
    /// Now: mean interval, h.
    pub now_h: f64,
    /// Now: milk by her curve, kg a day.
    pub now_kg: f64,
    /// Now: box time, min a day.
    pub now_minutes: f64,
    /// Rate of her empty udder, kg/h.
    pub rate_kg_h: f64,
    /// Box time of a milking without flow, min.
    pub handling_min: f64,
    /// Milk by minute of flow, kg/min.
    pub flow_kg_min: f64,
    /// Milkings it rests on.
    pub milkings: u32,
    /// Which of it is the herd's and not her own: `handling`, `flow`.
    pub assumed: Vec<&'static str>,
    /// Interval, milk expected, now, change of milk a day, minutes, in the farm's units.
    #[serde(skip)]
    pub words: [String; 5],
}

/// A group's interval.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GroupInterval {
    /// `later lactations, early`.
    pub group: String,
    /// Days in milk it holds, in words.
    pub days_words: String,
    /// Cows now in it.
    pub cows: usize,
    /// Best mean interval of the whole group, h; `null` for a group without cows or where minutes do not suffice.
    pub interval_h: Option<f64>,
    /// Shortest interval to be typed in, h: the mean less what cows of this farm wait after they may come.
    pub shortest_h: Option<f64>,
    /// Milk expected at that shortest interval, kg, mean of the group.
    pub expected_kg: Option<f64>,
    /// The group's mean interval now, h.
    pub now_h: Option<f64>,
    /// Limits it was chosen within, h.
    pub limits_h: (f64, f64),
    /// Interval, to type in hours, to type in milk, now, in the farm's units.
    #[serde(skip)]
    pub words: [String; 4],
}

/// A figure with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Default)]
pub struct Figure {
    /// Best guess.
    pub mean: f64,
    /// 90 % interval from.
    pub low90: f64,
    /// To.
    pub high90: f64,
}

/// What changes a day.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Changes {
    /// Milk, kg a day.
    pub milk_kg: Figure,
    /// Of that, what comes of cows that are turned away now at least three times in ten days, or are to be milked less
    /// often: another setting reaches them by itself. The others would have to be fetched.
    pub by_setting_kg: f64,
    /// Box time in whole milkings, min a day.
    pub minutes: Figure,
    /// Milkings a day.
    pub milkings: f64,
    /// Cows past their limit to be fetched, a day.
    pub fetches: Figure,
    /// Milk less feed, money a day.
    pub milk_money: Figure,
    /// Work of fetching that is spared, money a day.
    pub labour_money: Figure,
    /// Both.
    pub money: Figure,
    /// Whether a week of box logs and more lies behind it; with fewer its intervals do not hold what those days leave unknown.
    pub enough_days: bool,
    /// In words, in the farm's units, the 90 % interval in brackets.
    pub words: Vec<(String, String)>,
    /// What it is worth, in words.
    #[serde(skip)]
    pub verdict: String,
}

/// The cow that leaves least.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Least {
    /// Herd number or name.
    pub animal: String,
    /// Money a day that changes when she leaves and the others take her minutes.
    pub change: f64,
    /// In words.
    pub words: String,
}

/// A cow that is left out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LeftOut {
    /// Herd number or name.
    pub animal: String,
    /// Why.
    pub why: String,
}

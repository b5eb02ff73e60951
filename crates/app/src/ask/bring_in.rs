//! Whom to bring in now, in which order, and who comes by herself by when: one struct, shown by `cli/bring_in.rs` and
//! `web/bring_in.rs`.

use serde::Serialize;

/// The list at a time.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BringIn {
    /// Name of the farm.
    pub farm: String,
    /// The time it was made for, RFC 3339 in the farm's zone.
    pub at: String,
    /// The same in words.
    pub at_words: String,
    /// Time of the newest row it knew, in words.
    pub last_row_words: String,
    /// Which reckoning, fitted when.
    pub model: String,
    /// One sentence on the whole.
    pub summary: String,
    /// Whom to bring in, in walking order: by pen, then hour, then order before the box.
    pub bring: Vec<Brings>,
    /// Cows without a row for longer than their habit: to be looked for.
    pub missing: Vec<Missing>,
    /// Everybody else in milk, who is expected first, first.
    pub rest: Vec<Expected>,
    /// The same by the hour, as a person reads it.
    #[serde(skip)]
    pub by_hour: Vec<ByHour>,
    /// What the walk needs to be told.
    pub cautions: Vec<&'static str>,
    /// What the reader should know before trusting it.
    pub notes: Vec<String>,
}

/// What is known of a cow in milk.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Waits {
    /// Herd number.
    pub animal: String,
    /// Where one walks to see her.
    pub place: String,
    /// End of her last milking (or her calving), RFC 3339 in the farm's zone.
    pub since: String,
    /// Hours since then.
    pub hours: f64,
    /// Her limit, h.
    pub limit_h: f64,
    /// Why so many: `stage`, `fresh`, `treated`, `milk`.
    pub limit_why: &'static str,
    /// Milk expected in her udder now, kg; `None` before a milking of hers was weighed.
    pub expected_kg: Option<f64>,
    /// First lactation, where it is known.
    pub first_lactation: Option<bool>,
    /// Chance that she comes by herself for a milking within 2, 4 and 8 h, 0 to 1.
    pub alone_2h: f64,
    /// Within 4 h.
    pub alone_4h: f64,
    /// Within 8 h.
    pub alone_8h: f64,
    /// Chance that she is milked within 2 h, by herself or brought as this farm has been bringing its cows.
    pub milked_2h: f64,
    /// Within 4 h.
    pub milked_4h: f64,
    /// Within 8 h.
    pub milked_8h: f64,
    /// When she has come by herself with a chance of eight in ten, RFC 3339; `None`: not within a day.
    pub by: Option<String>,
}

/// A cow to be brought in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Brings {
    /// What is known of her.
    #[serde(flatten)]
    pub cow: Waits,
    /// From when on her boxes have room for her, RFC 3339.
    pub from: String,
    /// The same in words: `now`, `from 06:30`.
    pub from_words: String,
    /// `214: 13.4 h since she was milked, her limit 10 h.`
    pub sentence: String,
    /// The sentence without her number.
    #[serde(skip)]
    pub says: String,
    /// Why her limit is what it is, milk in her udder, the chance that she comes by herself.
    pub reasons: Vec<String>,
    /// What the round says of her, where it has a call.
    pub call: Option<String>,
    /// Somebody has brought her.
    pub done: Option<Done>,
}

/// A mark that somebody brought a cow.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Done {
    /// Its number.
    pub id: i64,
    /// When, RFC 3339 in the farm's zone.
    pub at: String,
    /// In words: `Brought at 06:10 by Anna.`
    pub words: String,
}

/// A cow to be looked for.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Missing {
    /// Herd number.
    pub animal: String,
    /// Where one walks to see her.
    pub place: String,
    /// Her last row of any kind in a box, RFC 3339; `None`: none was read.
    pub seen: Option<String>,
    /// `214: no row since yesterday 03:10 …`
    pub sentence: String,
    /// The sentence without her number.
    #[serde(skip)]
    pub says: String,
}

/// A cow that is not brought in.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Expected {
    /// What is known of her.
    #[serde(flatten)]
    pub cow: Waits,
    /// `07:30`, `tomorrow 02:00`, `not within a day`.
    pub by_words: String,
}

/// Cows that are expected by an hour.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ByHour {
    /// `by 08:00`, `not within a day`.
    pub words: String,
    /// Herd numbers.
    pub animals: Vec<String>,
}

/// A mark as it was typed or tapped; nothing of it is checked yet.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Marked {
    /// Herd number.
    pub animal: String,
    /// End of the milking she stood at, RFC 3339, as the list gave it.
    pub since: Option<String>,
    /// Who brought her.
    pub by: Option<String>,
    /// The sender's own word for this mark.
    pub sent_as: Option<String>,
}

//! A plan answered at once, for programs and for pages without a script: small, and waited for in the line for a moment only.

use std::time::Duration;

use axum::http::StatusCode;

use super::{
    plan::{self, Words},
    plan_desk::{Desk, threads},
    trouble::Trouble,
};
use crate::ask::{
    plan::Plan,
    planning::{self, Ground},
};

/// Replicates of such an answer.
const REPLICATES: u32 = 5;
/// Days of it.
const DAYS: f64 = 30.0;
/// Most cow-days of it: some seconds.
const MOST_COW_DAYS: f64 = 2e6;
/// Longest that it waits for its turn: whoever asks is to hear within a second that others are being reckoned.
const LONGEST_WAIT: Duration = Duration::from_millis(700);

/// Why there is no answer at once.
pub(super) enum Not {
    /// It cannot be reckoned at all.
    Wrong(anyhow::Error),
    /// It is more than is waited for.
    TooMuch(anyhow::Error),
    /// Others are being reckoned.
    Busy,
}

impl Not {
    /// Whether a page's script gets the answer all the same, as it fills.
    pub(super) fn is_for_a_script(&self) -> bool {
        !matches!(self, Not::Wrong(_))
    }

    /// What happened and what to do.
    pub(super) fn words(&self) -> (String, String) {
        match self {
            Not::Wrong(error) | Not::TooMuch(error) => {
                let words = crate::trouble::in_words(error);
                (words.what, words.next)
            }
            Not::Busy => ("other plans are being reckoned".into(), "ask again in half a minute".into()),
        }
    }

    /// The same for a program.
    pub(super) fn trouble(self) -> Trouble {
        match self {
            Not::Wrong(error) | Not::TooMuch(error) => {
                Trouble::unchanged("The plan could not be reckoned", &error)
            }
            Not::Busy => Trouble {
                status: StatusCode::SERVICE_UNAVAILABLE,
                title: "Other plans first",
                happened: "Other plans are being reckoned.".into(),
                kept: "Nothing was reckoned or changed.".into(),
                next: "Ask again in half a minute.".into(),
            },
        }
    }
}

/// A modest answer.
pub(super) fn answer(desk: &Desk, ground: &Ground, words: &Words) -> Result<Plan, Not> {
    let mut asked = plan::asked(ground, words).map_err(Not::Wrong)?;
    asked.days = DAYS;
    // Nobody can stop it, and others wait behind it: what would take long is made of fewer replicates, or refused.
    let cows: usize = asked.cows.iter().sum();
    let once = cows as f64 * asked.days * if asked.instead.is_some() { 2.0 } else { 1.0 };
    let replicates = (MOST_COW_DAYS / once.max(1.0)) as u32;
    asked.replicates = Some(replicates.clamp(2, REPLICATES));
    let prepared = planning::prepare(ground, &asked).map_err(Not::Wrong)?;
    if replicates < 2 {
        return Err(Not::TooMuch(crate::trouble::user(
            "this is more than a page waits for",
            "nothing was reckoned or changed",
            "ask for fewer herd sizes, let the page run its script, or ask `cowpath plan`",
        )));
    }
    let place = desk.queue().ok_or(Not::Busy)?;
    if !place.wait(Some(LONGEST_WAIT), &mut |_| {}) {
        return Err(Not::Busy);
    }
    prepared.run(threads(), &place.cancelled, &mut |_| {}).ok_or(Not::Busy)
}

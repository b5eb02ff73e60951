//! Who goes into which box when?
//!
//! Cows come on their own; those that find no box free wait, by rank rather than in order, until their patience ends.
//! A box that is cleaned, mended or broken begins that when the cow in it has left.

use crate::{
    SimError,
    cow::Cow,
    rows::{BoxStateRow, Row, VisitRow},
    stall::Stall,
    visit::{Around, serve},
};

/// One pen and its boxes.
#[derive(Debug, Clone)]
pub struct Pen {
    /// Its name in the logs.
    pub name: String,
    /// Places of its boxes.
    pub stalls: Vec<usize>,
    queue: Vec<Waiting>,
}

#[derive(Debug, Clone, Copy)]
struct Waiting {
    cow: usize,
    since_s: i64,
    leaves_s: i64,
    /// Low goes first.
    place: f64,
}

/// A cow that comes to the boxes.
#[derive(Debug, Clone, Copy)]
pub struct Coming {
    /// Place of the cow.
    pub cow: usize,
    /// When.
    pub at_s: i64,
    /// Brought by people: she does not leave again.
    pub brought: bool,
}

impl Pen {
    /// An empty pen.
    pub fn new(name: String, stalls: Vec<usize>) -> Pen {
        Pen { name, stalls, queue: Vec::new() }
    }

    /// Runs the pen up to `until_s`; `coming` in order of time. `after` sees each visit before it is handed out.
    #[expect(clippy::too_many_arguments, reason = "the farm lends its parts one by one")]
    pub fn run(
        &mut self,
        cows: &mut [Cow],
        stalls: &mut [Stall],
        coming: &[Coming],
        until_s: i64,
        around: &Around<'_>,
        after: &mut dyn FnMut(&mut Cow, &VisitRow),
        out: &mut dyn FnMut(Row) -> Result<(), SimError>,
    ) -> Result<(), SimError> {
        let mut next = 0;
        loop {
            let comes_s = coming.get(next).map_or(i64::MAX, |coming| coming.at_s);
            // The box that is free first, once somebody waits.
            let mut free: Option<(i64, usize)> = None;
            if let Some(first_s) = self.queue.iter().map(|waiting| waiting.since_s).min() {
                for &stall in &self.stalls {
                    let free_s = free_at(&mut stalls[stall], first_s, until_s, out)?;
                    if free.is_none_or(|(best_s, _)| free_s < best_s) {
                        free = Some((free_s, stall));
                    }
                }
            }
            if let Some((free_s, stall)) = free
                && free_s <= comes_s
                && free_s < until_s
            {
                self.admit(cows, stalls, stall, free_s, around, after, out)?;
                continue;
            }
            let Some(coming) = coming.get(next).filter(|coming| coming.at_s < until_s) else { break };
            next += 1;
            let cow = &mut cows[coming.cow];
            if cow.gone || cow.dry {
                cow.waiting = false;
                continue;
            }
            let patience_min = cow.habit.patience_min
                * cow.streams.coming.log_normal(1.0, 0.5)
                * (0.6 + 0.8 * cow.habit.rank);
            cow.waiting = true;
            self.queue.push(Waiting {
                cow: coming.cow,
                since_s: coming.at_s,
                leaves_s: if coming.brought { i64::MAX } else { coming.at_s + (patience_min * 60.0) as i64 },
                place: if coming.brought { -1.0 } else { 0.0 } - cow.habit.rank,
            });
        }
        for &stall in &self.stalls {
            free_at(&mut stalls[stall], until_s, until_s, out)?;
        }
        self.leave(cows, until_s);
        Ok(())
    }

    /// Cows whose patience is over go away.
    fn leave(&mut self, cows: &mut [Cow], at_s: i64) {
        self.queue.retain(|waiting| {
            let cow = &mut cows[waiting.cow];
            let stays = at_s < waiting.leaves_s && !cow.gone && !cow.dry;
            if !stays {
                cow.waiting = false;
                // She tries again sooner than after a visit.
                cow.hazard_left = cow.streams.coming.unit_exponential() * 0.6;
            }
            stays
        });
    }

    #[expect(clippy::too_many_arguments, reason = "one place, called once")]
    fn admit(
        &mut self,
        cows: &mut [Cow],
        stalls: &mut [Stall],
        stall: usize,
        at_s: i64,
        around: &Around<'_>,
        after: &mut dyn FnMut(&mut Cow, &VisitRow),
        out: &mut dyn FnMut(Row) -> Result<(), SimError>,
    ) -> Result<(), SimError> {
        self.leave(cows, at_s);
        let here = self.queue.iter().enumerate().filter(|(_, waiting)| waiting.since_s <= at_s);
        let order = |waiting: &Waiting| waiting.place - (at_s - waiting.since_s) as f64 / 2400.0;
        let Some((place, _)) = here.min_by(|a, b| order(a.1).total_cmp(&order(b.1))) else { return Ok(()) };
        let chosen = self.queue.swap_remove(place);
        let cow = &mut cows[chosen.cow];
        // Where another box stands free too she takes the one she likes, as a rule.
        let liked = self.stalls.get(cow.habit.likes % self.stalls.len().max(1)).copied().unwrap_or(stall);
        let mut taken = stall;
        if liked != stall
            && cow.streams.coming.chance(cow.habit.faithful)
            && free_at(&mut stalls[liked], at_s, at_s + 1, out)? <= at_s
        {
            taken = liked;
        }
        let row = serve(cow, &stalls[taken], at_s, around);
        cow.waiting = false;
        cow.hazard_left = cow.streams.coming.unit_exponential();
        let turn_s = cow.streams.milking.between(4.0, 22.0) as i64;
        stalls[taken].busy_until_s = row.ended_s + turn_s;
        after(cow, &row);
        out(Row::Visit(row))
    }
}

/// When the box is free, at `from_s` at the earliest; pauses due by then (and before `until_s`) are taken and logged.
fn free_at(
    stall: &mut Stall,
    from_s: i64,
    until_s: i64,
    out: &mut dyn FnMut(Row) -> Result<(), SimError>,
) -> Result<i64, SimError> {
    loop {
        let free_s = stall.busy_until_s.max(from_s);
        let Some(pause) = stall.pauses.front().copied() else { return Ok(free_s) };
        if free_s < pause.planned_s || until_s <= free_s {
            return Ok(free_s);
        }
        stall.pauses.pop_front();
        let begins_s = stall.busy_until_s.max(pause.planned_s);
        let ends_s = begins_s + pause.length_s;
        stall.busy_until_s = ends_s;
        if let Some(state) = pause.state {
            out(Row::BoxState(BoxStateRow { at_box: stall.number, from_s: begins_s, to_s: ends_s, state }))?;
        }
    }
}

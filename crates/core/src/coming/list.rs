//! Whom to bring in, in an order the boxes can take.
//!
//! Brought in is a cow past her limit who is unlikely to come in time. The more she is past it, and the less she is
//! likely to come, the sooner. No more are brought to a pen's boxes for one hour than they can milk in it beside the cows
//! that are expected by themselves; the others are for the hour after. Of one hour heifers stand before old cows, who
//! would keep them from the box, and cows whose milk is held stand last, so that the box is rinsed once.

/// A cow in milk at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Candidate {
    /// Her pen's place among the pens.
    pub pen: usize,
    /// First lactation.
    pub heifer: bool,
    /// Her milk is held.
    pub held: bool,
    /// Hours since her last milking.
    pub since_h: f64,
    /// Her limit, h.
    pub limit_h: f64,
    /// Chance that she comes by herself in time.
    pub in_time: f64,
    /// Chance that she comes by herself within the hour.
    pub this_hour: f64,
}

/// What the boxes of a pen can take.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Room {
    /// Boxes that run.
    pub boxes: usize,
    /// Minutes of a box that one milking takes, from one cow's entry to the next one's.
    pub minutes: f64,
}

impl Room {
    /// Milkings of an hour.
    pub fn milkings(&self) -> f64 {
        self.boxes as f64 * 60.0 / self.minutes.max(1.0)
    }
}

/// A cow to be brought in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Listed {
    /// Her place among the candidates.
    pub cow: usize,
    /// Which hour from now: 0 is this one.
    pub hour: usize,
}

/// Who is brought in, and the rest.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Bring {
    /// By pen, hour and order.
    pub bring: Vec<Listed>,
    /// Candidates that are not brought in.
    pub rest: Vec<usize>,
}

/// How much she needs it: how far past her limit, times how unlikely she comes.
fn need(cow: &Candidate) -> f64 {
    cow.since_h / cow.limit_h.max(1.0) * (1.0 - cow.in_time)
}

/// Chooses and orders; `rooms` by pen. A pen without a box that runs brings nobody this hour.
pub fn bring(cows: &[Candidate], rooms: &[Room], unlikely: f64) -> Bring {
    let is_brought = |cow: &Candidate| cow.limit_h <= cow.since_h && cow.in_time < unlikely;
    let mut out = Bring::default();
    for (pen, room) in rooms.iter().enumerate() {
        let hers = || (0..cows.len()).filter(|place| cows[*place].pen == pen);
        let (mut needy, rest): (Vec<usize>, Vec<usize>) = hers().partition(|place| is_brought(&cows[*place]));
        let alone: f64 = rest.iter().map(|place| cows[*place].this_hour).sum();
        needy.sort_by(|one, other| need(&cows[*other]).total_cmp(&need(&cows[*one])).then(one.cmp(other)));
        // One at least: a box that is busy all day still takes who must be milked.
        let most = if room.boxes == 0 { 0 } else { ((room.milkings() - alone).floor().max(1.0)) as usize };
        let first = if most == 0 { 1 } else { 0 };
        for (turn, group) in needy.chunks_mut(most.max(1)).enumerate() {
            group.sort_by_key(|place| (!cows[*place].heifer, cows[*place].held));
            out.bring.extend(group.iter().map(|cow| Listed { cow: *cow, hour: first + turn }));
        }
        out.rest.extend(rest);
    }
    out
}

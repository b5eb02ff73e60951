//! The farm as it stood at a time: who was there, the model rolled to then, and the last ten days of milkings.

use std::{collections::BTreeMap, sync::OnceLock, thread};

use cowpath_core::{causes::boxes::BoxLog, expect::Scored, herd::LifeKey};
use jiff::{SignedDuration, Timestamp};

use super::{
    background, beside,
    box_memory::{self, OfBoxes},
    cast::Cast,
    contradictions,
    farm::{Barn, Ways},
    habits,
    learned::{self, Judging},
    memories::{self, OfDay},
    model::{self, Rolled},
    others::{self, Others},
    refused, stuck,
};

/// How far back a cow is judged, and how far back a picture of evidence goes.
pub const TEN_DAYS: SignedDuration = SignedDuration::from_hours(240);

/// Milkings of a cow in ten days that room is made for.
const USUAL_MILKINGS: usize = 32;

/// What was known at a time.
pub struct View {
    /// The time.
    pub at: Timestamp,
    /// Time of the newest row that was known by then.
    pub known: Option<Timestamp>,
    /// Time of the newest row of all.
    pub newest: Option<Timestamp>,
    /// The farm's settings.
    pub ways: Ways,
    /// Cows and boxes.
    pub cast: Cast,
    /// The model.
    pub rolled: Rolled,
    /// Milkings that ended in the ten days before, oldest first.
    pub milkings: BTreeMap<LifeKey, Vec<Scored>>,
    /// Cells of each cow's last recording of the last 60 days, thousand/mL.
    pub cells: BTreeMap<LifeKey, f64>,
    /// The other signals of the same days.
    pub others: Others,
    /// What the boxes wrote in the last weeks.
    pub box_log: BoxLog,
    /// Of what they wrote before the last ten days, what to keep for the next time.
    of_boxes: OfDay,
    /// Cows that are milked though they were noted as dried off then: the note is not in `cast`.
    pub undried: Vec<(LifeKey, Timestamp)>,
    /// Costs, and rates as far as the farm has taught them.
    pub judging: Judging,
    /// When this herd's cows come, once it was asked for.
    fits: OnceLock<habits::InUse>,
}

/// Looks at a farm at a time; without one, at the time of its newest row, or while it has but a herd list, when that was
/// read. `None` while the farm has no rows.
pub fn at(barn: &Barn, asked: Option<Timestamp>) -> anyhow::Result<Option<View>> {
    // One state of the file for all of it, whoever writes meanwhile.
    let _held = barn.store.hold()?;
    let ways = barn.ways()?;
    let last_batch = barn.store.last_batch()?;
    let (newest, mut cast) = thread::scope(|scope| {
        let newest = |barn: &Barn| Ok(barn.store.last_row_at()?);
        let beside = beside::ask(scope, barn, last_batch, newest);
        let cast = Cast::read(barn, &ways.zone)?;
        anyhow::Ok((beside.or(|| newest(barn))?, cast))
    })?;
    let Some(at) = asked.or(newest).map_or_else(|| herd_list_at(barn), |at| Ok(Some(at)))? else {
        return Ok(None);
    };
    let mut milkings: BTreeMap<LifeKey, Vec<Scored>> = BTreeMap::new();
    let from = at.saturating_sub(TEN_DAYS)?;
    let zone = &ways.zone;
    let (rolled, of_boxes, mut others, cells, judging, refused, known) = thread::scope(|scope| {
        let others = |barn: &Barn| others::at(barn, &cast, zone, at);
        let box_log = |barn: &Barn| box_memory::log(barn, &cast, at, from);
        let others_beside = beside::ask(scope, barn, last_batch, others);
        let box_log_beside = beside::ask(scope, barn, last_batch, box_log);
        let rolled = model::roll(barn, &cast, zone, at, from, &mut |visit, scored| {
            let hers = milkings.entry(visit.life).or_insert_with(|| Vec::with_capacity(USUAL_MILKINGS));
            hers.push(scored.clone());
            Ok(())
        })?;
        let cells = background::cells(barn, &cast, at)?;
        let judging = learned::judging(&barn.store, at, zone)?;
        let refused = refused::visits(barn, &cast, at)?;
        let known = match newest {
            Some(newest) if newest <= at => Some(newest),
            _ => barn.store.last_row_by(at)?,
        };
        let of_boxes = box_log_beside.or(|| box_log(barn))?;
        let others = others_beside.or(|| others(barn))?;
        anyhow::Ok((rolled, of_boxes, others, cells, judging, refused, known))
    })?;
    let OfBoxes { log: mut box_log, of_day: of_boxes } = of_boxes;
    box_log.append(std::mem::take(&mut others.boxes));
    stuck::take_out(&others.stuck, &mut milkings);
    refused::join(&refused, &mut box_log, &mut others.seen, &mut milkings);
    let undried = contradictions::take_out_dry_offs(&mut cast, &milkings, at);
    Ok(Some(View {
        at,
        known,
        newest,
        ways,
        cast,
        rolled,
        milkings,
        cells,
        others,
        box_log,
        of_boxes,
        undried,
        judging,
        fits: OnceLock::new(),
    }))
}

impl View {
    /// When this herd's cows come, as fitted by the view's time.
    pub fn fits(&self, barn: &Barn) -> anyhow::Result<&habits::InUse> {
        if let Some(known) = self.fits.get() {
            return Ok(known);
        }
        let made = habits::in_use(barn, &self.cast, &self.ways.zone, self.at)?;
        Ok(self.fits.get_or_init(|| made))
    }

    /// Whether a fit of when cows come was made for this view, and is worth keeping.
    pub fn made_fits(&self) -> bool {
        self.fits.get().is_some_and(|own| own.made)
    }

    /// Keeps a fit of when cows come that was made for this view.
    pub fn keep_fits(&self, barn: &mut Barn) -> anyhow::Result<()> {
        match self.fits.get().filter(|own| own.made) {
            Some(own) => habits::keep(barn, &self.cast, &self.ways.zone, self.at, &own.fits),
            None => Ok(()),
        }
    }

    /// Keeps what was reckoned on the way for the next time.
    pub fn keep(&self, barn: &mut Barn) -> anyhow::Result<()> {
        self.keep_fits(barn)?;
        memories::keep(barn, &self.cast, &self.ways.zone, &self.rolled)?;
        box_memory::keep(barn, &self.cast, &self.of_boxes)?;
        others::keep(barn, &self.cast, &self.ways.zone, &self.others)
    }
}

/// When a farm's herd list was read that has no row with a time yet: its cows are there to be seen, if not to be judged.
fn herd_list_at(barn: &Barn) -> anyhow::Result<Option<Timestamp>> {
    if barn.store.row_counts()?.get("animals").copied().unwrap_or(0) == 0 {
        return Ok(None);
    }
    Ok(barn.store.batches()?.last().map(|batch| batch.read_at))
}

//! Judges the boxes: reads their standstills and pickups of the last weeks and asks core what may be off.

use cowpath_core::{
    causes::{
        self, Finding, Subject,
        boxes::{BoxFault, Boxes, ClockOff, LogEnds, Pickup, Stood},
    },
    herd::BoxKey,
    say,
    tables::table,
};
use jiff::{SignedDuration, Timestamp, tz::TimeZone};

use super::{box_memory::BOX_SPAN, farm::Barn, silence::Silent, view::View};

/// What is made of the boxes.
pub struct Judged {
    /// Every fault worth naming of every box, likeliest first.
    pub faults: Vec<BoxFault>,
    /// What is no fault of a box but of its log, in words.
    pub notes: Vec<String>,
    /// A clock that is or was off.
    clock: Option<ClockOff>,
}

/// Judges every box.
pub fn judge(barn: &Barn, view: &View, settings: &causes::Settings) -> anyhow::Result<Judged> {
    let clock = clock_off(barn, view)?;
    let (faults, ends) = faults(barn, view, clock.as_ref(), settings)?;
    let ends = ends.map(|ends| say::box_call::log_ends(ends.since, ends.known, view.at, &view.ways.zone));
    let told = clock.as_ref().map(|off| clock_words(view, off));
    Ok(Judged { faults, notes: ends.into_iter().chain(told).collect(), clock })
}

/// A box's clock that is or was off in the last ten days.
pub fn clock_off(barn: &Barn, view: &View) -> anyhow::Result<Option<ClockOff>> {
    // Most farms' clocks are right: what else ended when is asked only where it tells whose is wrong.
    if causes::boxes::clock_off(&view.box_log, None, view.at).is_none() {
        return Ok(None);
    }
    let day = view.at.saturating_sub(SignedDuration::from_hours(24))?;
    let stood = barn.store.box_states(day..view.at)?.into_iter().map(|state| state.to);
    let moved = barn.store.movement_bins(day..view.at)?.into_iter().map(|bins| bins.last_end);
    let others_until = stood.chain(moved).filter(|to| *to <= view.at).max();
    Ok(causes::boxes::clock_off(&view.box_log, others_until, view.at))
}

/// The same among what Records tells of signals.
pub fn clock_told(barn: &Barn, view: &View) -> anyhow::Result<Option<Silent>> {
    let off = clock_off(barn, view)?;
    Ok(off.map(|off| Silent {
        signal: "clock".into(),
        box_name: view.cast.boxes.get(usize::from(off.at_box.0)).cloned(),
        animals: Vec::new(),
        since: say::when::rfc3339(off.from, &view.ways.zone),
        sentence: clock_words(view, &off),
    }))
}

/// The same in words.
pub fn clock_words(view: &View, off: &ClockOff) -> String {
    let name = |key: BoxKey| view.cast.boxes.get(usize::from(key.0)).map_or("?", String::as_str);
    say::box_call::clock(name(off.at_box), off.or.map(name), off, view.at, &view.ways.zone)
}

impl Judged {
    /// Adds what was found of the boxes to the findings, and takes what a meter explains off the herd's.
    pub fn join(&self, view: &View, settings: &causes::Settings, findings: &mut Vec<Finding>) {
        if let Some(off) = &self.clock {
            // A cow's interval is wrong there, and what she should have given with it.
            findings.retain(|finding| {
                !matches!(finding.subject, Subject::Cow(_)) || !causes::boxes::clock_speaks(off, finding)
            });
        }
        causes::boxes::explain(findings, &self.faults, view.cast.boxes.len(), settings, view.at);
        findings.extend(self.faults.iter().map(|fault| fault.finding.clone()));
    }
}

fn faults(
    barn: &Barn,
    view: &View,
    clock: Option<&ClockOff>,
    settings: &causes::Settings,
) -> anyhow::Result<(Vec<BoxFault>, Option<LogEnds>)> {
    let from = view.at.saturating_sub(BOX_SPAN)?;
    let courses: Vec<_> = (0..view.cast.boxes.len())
        .filter_map(|index| u16::try_from(index).ok().map(BoxKey))
        .map(|key| (key, view.rolled.herd.box_course(key)))
        .collect();
    let stood: Vec<Stood> = barn
        .store
        .box_states(from..view.at)?
        .into_iter()
        .map(|state| Stood { at_box: state.at_box, from: state.from, to: state.to.min(view.at) })
        .collect();
    let boxes = Boxes {
        at: view.at,
        known_until: view.known.unwrap_or(view.at),
        courses: &courses,
        herd: view.rolled.herd.herd_course(),
        log: &view.box_log,
        stood: &stood,
        pickups: &pickups(barn, from, view.at)?,
        stuck: &view.others.stuck,
    };
    Ok((causes::judge_boxes(&boxes, clock, settings), causes::boxes::log_ends(&boxes, settings)))
}

fn pickups(barn: &Barn, from: Timestamp, at: Timestamp) -> anyhow::Result<Vec<Pickup>> {
    let Some(of) = table("pickups") else { return Ok(Vec::new()) };
    let Some(milk) = of.index("milk_kg") else { return Ok(Vec::new()) };
    let rows = barn.store.rows(of, Some(from..at), None)?;
    Ok(rows
        .into_iter()
        .filter_map(|row| Some(Pickup { at: row.first()?.time()?, milk_kg: row.get(milk)?.number()? }))
        .collect())
}

/// What the rows of its box show, put into the words of its call.
pub fn tell(
    said: &mut say::call::Said,
    faults: &[BoxFault],
    finding: &Finding,
    view: &View,
    zone: &TimeZone,
) {
    let Some(fault) = of(faults, finding) else { return };
    let instead = fault.instead.and_then(|key| view.cast.boxes.get(usize::from(key.0))).map(String::as_str);
    let facts = say::call::Facts {
        animal: None,
        box_name: None,
        at: view.at,
        zone,
        units: view.ways.units,
        days_in_milk: None,
        may_be_in_tank: &[],
        held_by_log: &[],
        destination_logged: false,
        diagnosed_at: None,
        in_calf: false,
        inseminated_at: None,
        noted_at: None,
    };
    say::box_call::tell(said, fault, instead, &facts);
}

/// The fault a finding came from.
pub fn of<'f>(faults: &'f [BoxFault], finding: &Finding) -> Option<&'f BoxFault> {
    faults.iter().find(|fault| {
        fault.finding.subject == finding.subject
            && fault.finding.cause == finding.cause
            && fault.finding.quarter == finding.quarter
    })
}

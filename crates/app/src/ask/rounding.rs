//! Makes the round: judges every cow that can be judged, and the herd; cuts by worth; puts it into sentences.

use std::{
    collections::BTreeSet,
    sync::{
        OnceLock,
        atomic::{AtomicUsize, Ordering},
    },
};

use cowpath_core::{
    causes::{self, CowCourse, Finding, Subject},
    herd::{Life, LifeKey, Stage},
    say::{
        self,
        summary::NotJudged::{NeverMilked, TooNew},
    },
};
use jiff::Timestamp;

use super::{
    away, background, beside, box_judging,
    calling::call,
    farm::Barn,
    places::places,
    round::{NotJudged, Quiet, Round},
    silence,
    standing::{self, Standing},
    view::View,
};

/// The round of a farm at a time; an empty one, with what to do, while the farm has no rows.
pub fn round(barn: &Barn, at: Option<Timestamp>, now: Timestamp) -> anyhow::Result<Round> {
    match super::view::at(barn, at)? {
        Some(view) => of_view(barn, &view),
        None => empty(barn, at.unwrap_or(now)),
    }
}

fn empty(barn: &Barn, at: Timestamp) -> anyhow::Result<Round> {
    let ways = barn.ways()?;
    Ok(Round {
        farm: ways.name.clone(),
        at: say::when::rfc3339(at, &ways.zone),
        at_words: say::when::heading(at, at, &ways.zone),
        last_row_words: String::new(),
        model: super::model::MODEL.into(),
        summary: "No rows have been read yet.".into(),
        calls: Vec::new(),
        places: Vec::new(),
        looked_at: Vec::new(),
        open: Vec::new(),
        counts: say::summary::Counts::default(),
        away: Default::default(),
        quiet: Quiet { cows: 0, not_judged: Vec::new() },
        learned: Default::default(),
        notes: vec!["Read the logs of your boxes first: cowpath import FILE...".into()],
    })
}

/// What a round says before it is put into words.
pub struct Judged<'a> {
    /// Cows judged, and where they stand.
    pub cows: Vec<(&'a Life, Stage)>,
    /// Cows that could not be judged, with why.
    pub not_judged: Vec<NotJudged>,
    /// Those of them that are too new.
    too_new: usize,
    /// Cows without a row for weeks, and no event that says why.
    gone: usize,
    /// Cows without a row for longer than their habit, and cows in milk without one.
    away: BTreeSet<LifeKey>,
    /// Every finding worth naming, shown or not.
    pub findings: Vec<Finding>,
    /// What is shown, in the round's order.
    pub shown: Vec<Finding>,
    /// Faults of boxes, with what shows them.
    boxes: box_judging::Judged,
}

/// Judges all that can be judged of what was known at a time.
pub fn judged<'v>(barn: &Barn, view: &'v View) -> anyhow::Result<Judged<'v>> {
    judged_by(barn, view, &view.judging.settings)
}

/// The same with other settings.
fn judged_by<'v>(barn: &Barn, view: &'v View, stated: &causes::Settings) -> anyhow::Result<Judged<'v>> {
    let (mut judged, mut others) = (Vec::new(), Vec::new());
    for life in view.cast.lives.iter().filter(|life| life.present(view.at)) {
        let stage = life.stage(view.at);
        match standing::standing(view, life, &stage) {
            Standing::Judged => judged.push((life, stage)),
            other => others.push((life, stage, other)),
        }
    }
    let Findings { settings, mut cows, away, boxes } = findings(barn, view, &judged, stated)?;
    let mut missed: BTreeSet<LifeKey> = away.iter().filter_map(of_cow).collect();
    let never: BTreeSet<LifeKey> = away::never_milked(view).into_iter().map(|life| life.key).collect();
    let mut not_judged = Vec::new();
    let (mut gone, mut too_new) = (0_usize, 0_usize);
    for (life, stage, standing) in others {
        match standing {
            Standing::Absent => {
                if let Some(calved) = stage.calved_at.filter(|_| never.contains(&life.key)) {
                    let why = say::summary::not_judged(NeverMilked(calved), view.at, &view.ways.zone);
                    not_judged.push(NotJudged { animal: life.animal.clone(), why });
                }
            }
            // Her absence is a call of its own.
            Standing::Not(_) | Standing::Gone if missed.contains(&life.key) => {}
            Standing::Gone => gone += 1,
            Standing::Not(why) => {
                too_new += usize::from(why == TooNew);
                let why = say::summary::not_judged(why, view.at, &view.ways.zone);
                not_judged.push(NotJudged { animal: life.animal.clone(), why });
            }
            Standing::Judged => {}
        }
    }
    let findings = &mut cows;
    // Of a cow that is away nothing else is known: what she was is told on her page.
    findings.retain(|finding| {
        !away.iter().any(|one| one.subject == finding.subject && one.cause == finding.cause)
    });
    findings.extend(away);
    findings.extend(causes::judge_herd(view.rolled.herd.herd_course(), view.at, &settings));
    // One call on the herd's intake, by the line that says most.
    let intake = view
        .others
        .heard
        .herd
        .iter()
        .filter_map(|line| causes::judge_intake(line.signal, &line.points, view.at, &settings));
    findings.extend(intake.max_by(|a, b| a.probability.total_cmp(&b.probability)));
    boxes.join(view, &settings, findings);
    missed.extend(never);
    let findings = cows;
    let mut shown = causes::cut(findings.clone(), &settings);
    // Stable: of one urgency the most worth stays first. Where one must go now is walked to before all else.
    shown.sort_by_key(|finding| finding.urgency);
    Ok(Judged { cows: judged, not_judged, too_new, gone, away: missed, findings, shown, boxes })
}

/// The round of what was known at a time.
pub fn of_view(barn: &Barn, view: &View) -> anyhow::Result<Round> {
    of_view_by(barn, view, &view.judging.settings)
}

/// The same with other settings, as of costs that are only tried.
pub fn of_view_by(barn: &Barn, view: &View, stated: &causes::Settings) -> anyhow::Result<Round> {
    let Judged { cows: judged, not_judged, too_new, gone, away, shown, boxes, .. } =
        judged_by(barn, view, stated)?;
    let calls = shown
        .iter()
        .map(|finding| call(barn, view, finding, &boxes.faults))
        .collect::<anyhow::Result<Vec<_>>>()?;
    let called: BTreeSet<LifeKey> = shown.iter().filter_map(of_cow).collect();
    let zone = &view.ways.zone;
    let known = view.known;
    let last = view.newest;
    let newest = last.unwrap_or(view.at);
    let not_judged = if last.is_none() { standing::listed(view) } else { not_judged };
    let quiet =
        Quiet { cows: judged.iter().filter(|(life, _)| !called.contains(&life.key)).count(), not_judged };
    let counts = say::summary::Counts {
        calls: calls.len(),
        quiet: quiet.cows,
        too_new,
        not_judged: quiet.not_judged.len() - too_new,
        ..say::summary::Counts::default()
    };
    Ok(Round {
        farm: view.ways.name.clone(),
        at: say::when::rfc3339(view.at, zone),
        at_words: say::when::heading(view.at, newest, zone),
        last_row_words: known.map_or(String::new(), |last| say::when::instant(last, view.at, zone)),
        model: model_words(view),
        summary: match (known, last) {
            (Some(_), _) => say::summary::round(counts),
            (None, Some(_)) => say::summary::before_any_row().into(),
            (None, None) => say::summary::herd_list_only(counts.not_judged),
        },
        places: places(&calls, &view.ways.pens),
        looked_at: Vec::new(),
        open: Vec::new(),
        counts,
        calls,
        away,
        quiet,
        learned: stated.rates.learned.iter().map(|(cause, factor)| (cause.word(), *factor)).collect(),
        notes: [silence::rows_end(view.at, zone, known, newest), notes(barn, view, gone)?, boxes.notes]
            .concat(),
    })
}

/// Whose finding it is, if a cow's.
fn of_cow(finding: &Finding) -> Option<LifeKey> {
    if let Subject::Cow(life) = finding.subject { Some(life) } else { None }
}

/// Cows that are judged at a time: the threads take turns, so that none ends long before the other.
const COWS_A_TURN: usize = 8;

/// What was found of each cow that can be judged, of those that are away, and of the boxes.
struct Findings {
    /// The settings, with the herd's own noise.
    settings: causes::Settings,
    /// In order of the cows.
    cows: Vec<Finding>,
    away: Vec<Finding>,
    boxes: box_judging::Judged,
}

/// Finds it side by side: cows on two threads, and before them on one the herd's noise, on the other the boxes. Who is away,
/// with the fit of when cows come, has a thread of its own.
fn findings(
    barn: &Barn,
    view: &View,
    judged: &[(&Life, Stage)],
    stated: &causes::Settings,
) -> anyhow::Result<Findings> {
    let turns: Vec<&[(&Life, Stage)]> = judged.chunks(COWS_A_TURN).collect();
    let next = AtomicUsize::new(0);
    let own: OnceLock<causes::Settings> = OnceLock::new();
    let noise = || own.get_or_init(|| settings(view, judged, stated));
    let take_turns = || {
        let settings = noise();
        let mut done: Vec<(usize, Vec<Finding>)> = Vec::new();
        loop {
            let turn = next.fetch_add(1, Ordering::Relaxed);
            let Some(cows) = turns.get(turn) else { return done };
            done.push((turn, judge(view, cows, settings)));
        }
    };
    let (mut done, away, boxes) = std::thread::scope(|scope| {
        let beside = scope.spawn(take_turns);
        let away = beside::ask(scope, barn, view.cast.last_batch, |barn| away::findings(barn, view, stated));
        // What is asked of boxes hangs on no cow's noise.
        let boxes = box_judging::judge(barn, view, stated);
        let mut done = take_turns();
        match beside.join() {
            Ok(others) => done.extend(others),
            Err(panic) => std::panic::resume_unwind(panic),
        }
        (done, away.or(|| away::findings(barn, view, stated)), boxes)
    });
    done.sort_by_key(|(turn, _)| *turn);
    let cows = done.into_iter().flat_map(|(_, findings)| findings).collect();
    Ok(Findings { settings: noise().clone(), cows, away: away?, boxes: boxes? })
}

fn judge(view: &View, cows: &[(&Life, Stage)], settings: &causes::Settings) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (life, stage) in cows {
        let Some(milkings) = view.milkings.get(&life.key) else { continue };
        let hers = view.others.heard.cows.get(&life.key);
        let course = CowCourse {
            life: life.key,
            at: view.at,
            her: background::of(view, life, *stage),
            milkings,
            lines: hers.map_or(&[], |hers| &hers.lines),
            unsettled_since: view.rolled.herd.unsettled_since(life.key),
            trouble_since: view.rolled.herd.trouble_since(life.key),
            began: hers.map(|hers| hers.began).unwrap_or_default(),
        };
        findings.extend(causes::judge_cow(&course, settings));
    }
    findings
}

/// Cows whose signals tell a herd's noise: of a larger herd every so many-th is asked. Ten days of so many cows tell a spread to
/// one in a hundred and closer.
const NOISE_COWS: usize = 600;

/// The settings of the farm, with the wandering of this herd's own signals: read off the cows whose baseline is not held, for
/// the others are what is to be judged.
fn settings(view: &View, judged: &[(&Life, Stage)], stated: &causes::Settings) -> causes::Settings {
    let sample = || judged.iter().step_by(judged.len().div_ceil(NOISE_COWS).max(1));
    let settled = sample()
        .filter(|(life, _)| view.rolled.herd.unsettled_since(life.key).is_none())
        .filter_map(|(life, _)| view.milkings.get(&life.key).map(Vec::as_slice));
    let lines = sample()
        .filter_map(|(life, _)| view.others.heard.cows.get(&life.key).map(|hers| hers.lines.as_slice()));
    causes::Settings { noise: causes::noise::estimate(settled, lines, &stated.noise), ..stated.clone() }
}

/// Which reckoning, with parameters fitted when.
pub fn model_words(view: &View) -> String {
    let fitted =
        view.rolled.fitted_at.map(|at| format!("fitted {}", say::when::rfc3339(at, &view.ways.zone)));
    let fitted = fitted.unwrap_or_else(|| "parameters not yet fitted".into());
    format!("{}; {fitted}{}", super::model::MODEL, view.judging.words)
}

fn notes(barn: &Barn, view: &View, gone: usize) -> anyhow::Result<Vec<String>> {
    let mut notes = Vec::new();
    if view.rolled.fitted_at.is_none() {
        notes.push("The herd's own habits are not fitted yet: that takes the first week or two of rows. Until then the calls rest on published figures.".into());
    }
    if 0 < gone {
        notes.push(say::summary::gone(gone));
    }
    notes.extend(super::stuck::note(view));
    notes.extend(super::contradictions::notes(barn, view)?);
    notes.extend(super::unsaid::notes(barn, view.at)?);
    notes.extend(super::unsaid::named_later(barn)?);
    notes.extend(super::refused::note(barn, say::summary::Lacks::Round)?);
    Ok(notes)
}

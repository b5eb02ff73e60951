//! Laws of answers: what was kept, read beside, or reckoned before changes none of them.

use std::{ops::ControlFlow, path::PathBuf};

use cowpath_core::{causes::boxes::BoxLog, expect::Scored, tables::Visit};
use cowpath_herdsim::Scenario;
use cowpath_store::Way;
use jiff::{Timestamp, ToSpan, tz::TimeZone};

use super::{
    box_memory,
    cast::Cast,
    coming::Coming,
    cowing,
    farm::Barn,
    history::{Drawn, History},
    live::Seen,
    memories, model, parked, reading, rounding, take_in, view,
};

/// A farm of a simulated herd's logs of twelve weeks, in a folder that goes with it.
struct Simulated {
    barn: Barn,
    zone: TimeZone,
    /// Its logs lie here too.
    folder: tempfile::TempDir,
    now: Timestamp,
}

fn simulated() -> Simulated {
    let scenario = Scenario::demo(24, 2, 84, 5);
    let folder = tempfile::tempdir().unwrap();
    let logs = folder.path().join("logs");
    cowpath_herdsim::write(&scenario, &logs, None).unwrap();
    let zone = scenario.zone.clone();
    let now = scenario.last_day.at(23, 59, 0, 0).to_zoned_datetime(zone.clone()).unwrap().timestamp();
    let mut barn = Barn::found(folder.path(), now, zone.iana_name().unwrap()).unwrap();
    let files: Vec<PathBuf> =
        ["visits", "animals", "events"].map(|table| logs.join(format!("{table}.csv"))).into();
    let taken = take_in::take_in(&mut barn, &files, &zone, now, &mut |_, _| {}).unwrap();
    assert!(taken.files.iter().all(|file| 0 < file.new), "{taken:?}");
    Simulated { barn, zone, folder, now }
}

impl Simulated {
    fn last(&self) -> Timestamp {
        self.barn.store.last_row_at().unwrap().unwrap()
    }

    fn cast(&self) -> Cast {
        Cast::read(&self.barn, &self.zone).unwrap()
    }

    /// Everything handed on by a roll to `at` from `from` on, and the roll.
    fn rolled(&self, at: Timestamp, from: Timestamp) -> (Vec<(Visit, Scored)>, model::Rolled) {
        let mut all = Vec::new();
        let rolled = model::roll(&self.barn, &self.cast(), &self.zone, at, from, &mut |visit, scored| {
            all.push((*visit, scored.clone()));
            Ok(())
        })
        .unwrap();
        (all, rolled)
    }
}

#[test]
fn memories_change_no_answer() {
    let mut farm = simulated();
    let last = farm.last();
    let (whole, rolled) = farm.rolled(last, Timestamp::MIN);
    assert!(rolled.fitted_at.is_some() && !rolled.fits.is_empty() && 3 <= rolled.memories.len());
    assert_eq!(rolled.late_fits, 0, "what is counted ahead of the roll is what the roll counts");
    let cast = farm.cast();
    memories::keep(&mut farm.barn, &cast, &farm.zone, &rolled).unwrap();
    // Times a day apart: every day of a week, so that a fit that is not yet in use is met too.
    for days in (0..40).step_by(3) {
        let at = last - (24 * days).hours();
        let from = at - 240.hours();
        let wanted: Vec<_> = whole
            .iter()
            .filter(|(visit, _)| from <= visit.ended_at && visit.ended_at <= at)
            .cloned()
            .collect();
        let (again, again_rolled) = farm.rolled(at, from);
        assert!(again == wanted, "{days} days before the end");
        assert!(again_rolled.fitted_at <= rolled.fitted_at);
    }
    let (_, again) = farm.rolled(last, last);
    assert!(again.herd == rolled.herd, "the herd's state");
    assert!(again.fits.is_empty(), "a fit that is kept is not made again");
}

#[test]
fn a_memory_of_the_day_changes_no_answer() {
    let mut farm = simulated();
    let last = farm.last();
    let (whole, _) = farm.rolled(last, Timestamp::MIN);
    let cast = farm.cast();
    let kept = |farm: &Simulated| farm.barn.store.checkpoints(&memories::day_name(&farm.zone)).unwrap();
    // Rounds of nine mornings and evenings, each keeping what it reckoned: turns of a week and of fits lie between.
    let mut days = std::collections::BTreeSet::new();
    for half_days in (0..18).rev() {
        let at = last - (12 * half_days).hours();
        let from = at - 240.hours();
        let (again, rolled) = farm.rolled(at, from);
        let wanted = whole.iter().filter(|(visit, _)| from <= visit.ended_at && visit.ended_at <= at);
        assert!(again.iter().eq(wanted), "{half_days} half days before the end");
        memories::keep(&mut farm.barn, &cast, &farm.zone, &rolled).unwrap();
        let of_day = kept(&farm);
        assert!(of_day.len() <= 1, "that of the newest round alone: {of_day:?}");
        if let Some(of_day) = of_day.last() {
            assert!(*of_day <= from, "it holds nothing of the milkings that are wanted");
            days.insert(*of_day);
            let (_, next) = farm.rolled(at, from);
            assert!(next.of_day.is_none(), "it is gone on from, and not made again");
        }
    }
    // One of nine days is the turn of a week, or two are: their memory is the week's.
    assert!((7..=9).contains(&days.len()), "{days:?}");
    // A round of an earlier time leaves the newest one's where it is.
    let (_, earlier) = farm.rolled(last - 480.hours(), last - 720.hours());
    let before = kept(&farm);
    memories::keep(&mut farm.barn, &cast, &farm.zone, &earlier).unwrap();
    assert_eq!(kept(&farm), before);
    // One that cannot be read is as good as none: the week's before it is gone on from.
    let (day, name) = (before[0], memories::day_name(&farm.zone));
    farm.barn.store.save_checkpoint(day, &name, b"no memory").unwrap();
    let of_week = memories::latest(&farm.barn, &farm.zone, day).unwrap();
    assert!(of_week.is_some_and(|(at, _)| at < day));
    let (again, _) = farm.rolled(last, last - 240.hours());
    assert!(again.iter().eq(whole.iter().filter(|(visit, _)| last - 240.hours() <= visit.ended_at)));
}

#[test]
fn rows_kept_of_the_boxes_change_no_answer() {
    let mut farm = simulated();
    let last = farm.last();
    // As text: a figure that is not there is kept as not a number, which equals nothing.
    let plain = |farm: &Simulated, at: Timestamp, until: Timestamp| {
        let (cast, mut log) = (farm.cast(), BoxLog::new());
        let each = &mut |number: u32, visit: &mut Visit| {
            if visit.ended_at <= at
                && let Some(life) = cast.life(number, visit.started_at)
            {
                log.take(life.key, visit);
            }
            ControlFlow::Continue(())
        };
        farm.barn.store.box_visits(at - box_memory::BOX_SPAN..until, each).unwrap();
        format!("{log:?}")
    };
    let kept = |farm: &Simulated| farm.barn.store.checkpoints(&box_memory::name()).unwrap();
    let asked = |farm: &mut Simulated, at: Timestamp| {
        let (cast, until) = (farm.cast(), at - 240.hours());
        let own = box_memory::log(&farm.barn, &cast, at, until).unwrap();
        assert!(format!("{:?}", own.log) == plain(farm, at, until), "at {at}");
        box_memory::keep(&mut farm.barn, &cast, &own.of_day).unwrap();
        own.of_day.map(|(day, _)| day)
    };
    let mut made = 0;
    for third_days in (0..12).rev() {
        let at = last - (8 * third_days).hours();
        made += usize::from(asked(&mut farm, at).is_some());
        assert_eq!(kept(&farm).len(), 1, "that of the newest round alone");
        assert!(kept(&farm)[0] <= at - 240.hours());
        assert!(asked(&mut farm, at).is_none(), "it is gone on from, and not made again");
    }
    assert!((4..=5).contains(&made), "one a day: {made}");
    // An earlier round makes none, and leaves the newest one's where it is.
    let newest = kept(&farm);
    assert!(asked(&mut farm, last - 480.hours()).is_none());
    assert_eq!(kept(&farm), newest);
    // One that cannot be read is as good as none.
    farm.barn.store.save_checkpoint(newest[0], &box_memory::name(), b"no memory").unwrap();
    assert!(asked(&mut farm, last).is_none());
    // A row that came late is in the next answer, under whatever keys there are then.
    let late = farm.folder.path().join("late.csv");
    let began = farm.zone.to_datetime(newest[0] - 60.hours());
    let row = format!("0,1,{began},{},milked,9", began.checked_add(7.minutes()).unwrap());
    std::fs::write(&late, format!("animal,box,started_at,ended_at,outcome,milk_kg\n{row}\n")).unwrap();
    let before = plain(&farm, last, last - 240.hours());
    let (zone, now) = (farm.zone.clone(), farm.now);
    take_in::take_in(&mut farm.barn, &[late], &zone, now, &mut |_, _| {}).unwrap();
    assert!(before != plain(&farm, last, last - 240.hours()));
    assert!(kept(&farm).is_empty());
    assert!(asked(&mut farm, last).is_some() && asked(&mut farm, last).is_none());
}

#[test]
fn fits_look_at_nothing_later() {
    let farm = simulated();
    let last = farm.last();
    let (whole, _) = farm.rolled(last, Timestamp::MIN);
    let at = last - (24 * 30).hours();
    let (early, _) = farm.rolled(at, Timestamp::MIN);
    assert!(early.iter().zip(&whole).all(|(early, whole)| early == whole));
    assert_eq!(early.len(), whole.iter().filter(|(visit, _)| visit.ended_at <= at).count());
}

#[test]
fn a_second_thread_reads_the_same_rows() {
    let farm = simulated();
    let (mut beside, mut direct) = (Vec::new(), Vec::new());
    let span = Timestamp::MIN..farm.last();
    reading::milkings(&farm.barn, &farm.cast(), span.clone(), &mut |number, visit| {
        beside.push((number, *visit));
        ControlFlow::Continue(())
    })
    .unwrap();
    farm.barn
        .store
        .milkings(span.clone(), &mut |number, visit| {
            direct.push((number, *visit));
            ControlFlow::Continue(())
        })
        .unwrap();
    assert!(beside == direct && 5_000 < beside.len());
    let mut few = 0;
    reading::milkings(&farm.barn, &farm.cast(), span, &mut |_, _| {
        few += 1;
        if few == 700 { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
    })
    .unwrap();
    assert_eq!(few, 700, "who has heard enough is told no more");
}

#[test]
fn memories_of_rows_that_moved_are_not_kept() {
    let mut farm = simulated();
    let cast = farm.cast();
    let (_, rolled) = farm.rolled(farm.last(), Timestamp::MIN);
    let late = farm.folder.path().join("late.csv");
    std::fs::write(
        &late,
        "animal,box,started_at,ended_at,outcome,milk_kg\nlate,1,2026-01-01T05:00,2026-01-01T05:07,milked,9\n",
    )
    .unwrap();
    let (zone, now) = (farm.zone.clone(), farm.now);
    take_in::take_in(&mut farm.barn, &[late], &zone, now, &mut |_, _| {}).unwrap();
    memories::keep(&mut farm.barn, &cast, &zone, &rolled).unwrap();
    assert_eq!(farm.barn.store.checkpoints(&memories::name(&zone)).unwrap(), Vec::<Timestamp>::new());
    let stale = reading::milkings(&farm.barn, &cast, Timestamp::MIN..farm.last(), &mut |_, _| {
        panic!("rows under keys that have moved")
    });
    assert!(stale.unwrap_err().is::<reading::Moved>());
}

#[test]
fn a_history_is_what_a_roll_gives() {
    let farm = simulated();
    let view = view::at(&farm.barn, None).unwrap().unwrap();
    let history = History::read(&farm.barn, &view).unwrap();
    let at = view.at - (24 * 20).hours();
    let (from, to) = (at - (24 * 40).hours(), at - 24.hours());
    let (whole, _) = farm.rolled(at, from);
    for life in &view.cast.lives {
        let hers: Vec<Drawn> = whole
            .iter()
            .filter(|(visit, _)| visit.life == life.key && from <= visit.started_at && visit.started_at < to)
            .map(|(_, scored)| Drawn::of(scored))
            .collect();
        let kept = history.of(life.key, from, to, at).unwrap();
        // As text: a signal that was not reckoned is not a number, and not a number equals nothing.
        let text = |drawn: &[Drawn]| format!("{drawn:?}");
        assert!(text(&kept) == text(&hers), "{}: {} and {}", life.animal, kept.len(), hers.len());
    }
    assert!(history.of(view.cast.lives[0].key, Timestamp::MIN, to, at).is_none());
}

#[test]
fn what_waits_is_bounded_and_the_oldest_goes() {
    let folder = tempfile::tempdir().unwrap();
    let farm = folder.path().join("farm");
    let bring = |name: &str, text: &str, way: Way| {
        let path = folder.path().join(name);
        std::fs::write(&path, text).unwrap();
        // The clock of some disks is coarse.
        std::thread::sleep(std::time::Duration::from_millis(15));
        let coming = Coming { way, ..Coming::named(&path) };
        let (key, gone) =
            parked::park_within(&farm, &Coming { name: name.into(), ..coming }, (3, 100)).unwrap();
        (key, gone, path)
    };
    let names = || parked::list(&farm).into_iter().map(|one| one.name).collect::<Vec<_>>();
    let (first, gone, path) = bring("a.csv", &"a".repeat(40), Way::Page);
    assert!(gone.is_empty() && !path.exists(), "an upload is moved");
    assert_eq!(std::fs::read_to_string(parked::find(&farm, &first).unwrap().path).unwrap(), "a".repeat(40));
    bring("b.csv", "b", Way::Page);
    // A file of the inbox stays where it lies and counts no bytes.
    let (noted, gone, path) = bring("c.csv", &"c".repeat(500), Way::Inbox);
    assert!(gone.is_empty() && path.exists());
    // The same content again is the same file, and is the newest now.
    assert_eq!(bring("a again.csv", &"a".repeat(40), Way::Page).0, first);
    assert_eq!(names(), ["a again.csv", "b.csv", "c.csv"]);
    assert_eq!(bring("d.csv", "d", Way::Page).1, ["b.csv"], "more than three");
    assert_eq!(bring("e.csv", &"e".repeat(80), Way::Page).1, ["a again.csv"], "more than a hundred bytes");
    assert_eq!(names(), ["d.csv", "e.csv"], "the note of the inbox file had waited longest");
    assert!(path.exists() && parked::find(&farm, &noted).is_none());
    // The newest is kept whatever its size.
    assert_eq!(bring("f.csv", &"f".repeat(300), Way::Page).1, ["d.csv", "e.csv"]);
    for odd in ["", "../farm.sqlite", &first.to_uppercase(), &format!("{first}0")] {
        assert!(parked::find(&farm, odd).is_none(), "{odd}");
    }
    let last = parked::list(&farm)[0].key.clone();
    parked::remove(&farm, &last);
    assert!(!farm.join("unread").exists());
}

#[test]
fn a_number_whose_cow_has_left_is_no_cow_of_the_herd() {
    let farm = simulated();
    let view = view::at(&farm.barn, None).unwrap().unwrap();
    let gone: Vec<String> = view
        .cast
        .lives
        .iter()
        .filter(|life| life.until.is_some_and(|until| until < view.at))
        .map(|life| life.animal.clone())
        .collect();
    assert!(!gone.is_empty(), "no cow of these logs leaves");
    let round = std::sync::Arc::new(rounding::of_view(&farm.barn, &view).unwrap());
    let listed = cowing::herd_list(&Seen { view: Some(view), round });
    for (animal, _, stage, _) in &listed {
        assert!(!stage.contains("not recorded"), "{animal}: {stage}");
        assert!(!gone.contains(animal), "{animal} has left");
    }
}

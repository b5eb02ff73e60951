//! Bring in for pages: the list kept at hand while nothing it rests on has changed, and the marks of the walk.

use std::sync::Arc;

use cowpath_store::NewBrought;
use jiff::Timestamp;

use super::{
    bring_in::{BringIn, Done, Marked},
    bring_shown, bringing,
    live::{Live, Seen, locked},
};
use crate::{clock, trouble::user};

/// Lists kept at hand.
const KEPT: usize = 4;
/// Longest name of who brought her, and of a sender's word, letters.
const LONGEST_WORD: usize = 60;

/// A view, the mark of the marks, and the list.
pub(super) type Kept = (Arc<Seen>, (i64, i64), Arc<BringIn>);

impl Live {
    /// Whom to bring in at a time; without one, at the newest row.
    pub fn bring_in(&self, at: Option<Timestamp>) -> anyhow::Result<Arc<BringIn>> {
        self.ask(|barn| {
            let seen = self.looked(barn, at)?;
            let Some(view) = &seen.view else {
                return Ok(Arc::new(bring_shown::empty(barn, at.unwrap_or_else(clock::now))?));
            };
            let mark = barn.store.brought_mark()?;
            let known = locked(&self.brings)
                .iter()
                .find(|(own, then, _)| Arc::ptr_eq(own, &seen) && *then == mark)
                .map(|(.., list)| Arc::clone(list));
            if let Some(list) = known {
                return Ok(list);
            }
            let list = bringing::of_view(barn, view, &seen.round)?;
            let list = Arc::new(list);
            let mut all = locked(&self.brings);
            all.retain(|(own, ..)| !Arc::ptr_eq(own, &seen));
            if KEPT <= all.len() {
                all.remove(0);
            }
            all.push((Arc::clone(&seen), mark, Arc::clone(&list)));
            drop(all);
            // A farm that is being written is shown all the same.
            if let Ok(mut keeper) = self.keeper.try_lock() {
                let _ = view.keep_fits(&mut keeper);
            }
            Ok(list)
        })
    }

    /// Marks a cow as brought.
    ///
    /// # Errors
    /// Where no such cow is on record, or a word is not understood; nothing is kept then.
    pub fn mark_brought(&self, marked: &Marked) -> anyhow::Result<Done> {
        let refused = |what: String, next: &str| user(what, "nothing was marked", next.to_owned());
        let seen = self.seen(None)?;
        let (animal, now) = (marked.animal.trim(), self.fixed_now.unwrap_or_else(clock::now));
        let known = seen.view.as_ref().filter(|view| view.cast.find(animal, view.at).is_some());
        let Some(view) = known else {
            let what = format!("no cow `{}` is on record", crate::trouble::short(animal));
            return Err(refused(what, "tap the button beside a cow of the list"));
        };
        let since = marked.since.as_deref().map(str::trim).filter(|since| !since.is_empty());
        let since = since.map(str::parse::<Timestamp>).transpose();
        let since = since.map_err(|_| {
            refused("`since` is not a time".into(), "send the time of her last milking as the list gives it")
        })?;
        let word = |word: &Option<String>| {
            let word: String =
                word.as_deref().unwrap_or_default().chars().filter(|own| !own.is_control()).collect();
            let word = word.trim().to_owned();
            match word.chars().count() {
                0 => Ok(None),
                letters if LONGEST_WORD < letters => {
                    Err(refused(format!("{letters} letters are too many"), "write at most 60"))
                }
                _ => Ok(Some(word)),
            }
        };
        let what = NewBrought {
            animal: animal.to_owned(),
            since,
            at: now,
            by: word(&marked.by)?,
            sent_as: word(&marked.sent_as)?,
        };
        let id = locked(&self.keeper).store.note_brought(&what)?;
        Ok(bring_shown::done(&cowpath_store::Brought { id, what }, now, view))
    }

    /// Takes a mark back.
    ///
    /// # Errors
    /// Where no such mark stands.
    pub fn unmark_brought(&self, id: i64, by: Option<&str>) -> anyhow::Result<()> {
        if locked(&self.keeper).store.undo_brought(id, clock::now(), by)? {
            return Ok(());
        }
        Err(user(
            format!("there is no mark {id} that still stands"),
            "nothing was changed",
            "look at the list again",
        ))
    }
}

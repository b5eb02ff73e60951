//! Every milking beside what was expected before it, streamed in the order the milkings ended.

use cowpath_core::{expect::Scored, tables::Visit};
use jiff::Timestamp;

use super::{
    cast::Cast,
    farm::{Barn, Ways},
    memories, model,
};

/// Which milkings are asked for.
#[derive(Debug, Clone, Default)]
pub struct Asked {
    /// Only this cow's.
    pub animal: Option<String>,
    /// From this instant on, by entry.
    pub from: Option<Timestamp>,
    /// Before this instant, by entry; what ended later is not known yet.
    pub to: Option<Timestamp>,
}

/// Hands every milking asked for to `each`, with the herd number of its cow, and keeps the model's memories of the way.
pub fn expected(
    barn: &mut Barn,
    ways: &Ways,
    asked: &Asked,
    each: &mut dyn FnMut(&str, &Visit, &Scored) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let Some(last) = barn.store.last_row_at()? else { return Ok(()) };
    let until = asked.to.map_or(last, |to| to.min(last));
    let from = asked.from.unwrap_or(Timestamp::MIN);
    let cast = Cast::read(barn, &ways.zone)?;
    let rolled = model::roll(barn, &cast, &ways.zone, until, from, &mut |visit, scored| {
        if visit.started_at < from || asked.to.is_some_and(|to| to <= visit.started_at) {
            return Ok(());
        }
        let Some(life) = cast.of(visit.life) else { return Ok(()) };
        if asked.animal.as_ref().is_some_and(|animal| *animal != life.animal) {
            return Ok(());
        }
        each(&life.animal, visit, scored)
    })?;
    // A store that is being written goes without: the next answer is slower, not different.
    let _ = memories::keep(barn, &cast, &ways.zone, &rolled);
    Ok(())
}

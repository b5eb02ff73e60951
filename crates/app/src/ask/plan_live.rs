//! What plans of pages start from: fitted once, and again when logs or settings have changed.

use std::sync::Arc;

use cowpath_core::minutes::terms::Terms;
use cowpath_store::Settings;

use super::{
    live::{Live, locked},
    meters, plan_ground,
    planning::Ground,
};

/// Pens, and the rows and settings that they were fitted from.
pub(super) type Kept = ((u64, Settings), Arc<Ground>);

impl Live {
    /// The farm's pens as its newest logs tell of them. Whoever comes while they are fitted waits, so that it is done once.
    pub fn plan_ground(&self) -> anyhow::Result<Arc<Ground>> {
        let mut kept = locked(&self.pens);
        let (mark, terms) = self.ask(|barn| {
            let settings = barn.store.settings()?;
            let terms = settings.terms.clone();
            // No fit hangs on prices.
            let settings = Settings { terms: Terms::default(), ..settings };
            Ok(((barn.store.last_batch()?, settings), terms))
        })?;
        let ground = match kept.as_ref().filter(|(own, _)| *own == mark) {
            Some((_, ground)) if ground.terms == terms => return Ok(Arc::clone(ground)),
            Some((_, ground)) => Arc::new(Ground { terms, ..(**ground).clone() }),
            None => Arc::new(self.ask(|barn| {
                let mut ground = plan_ground::of(barn)?;
                if let Some(view) = &self.looked(barn, None)?.view {
                    ground.doubt(&meters::in_doubt(barn, view)?);
                }
                Ok(ground)
            })?),
        };
        *kept = Some((mark, Arc::clone(&ground)));
        Ok(ground)
    }
}

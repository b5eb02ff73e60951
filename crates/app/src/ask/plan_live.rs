//! What plans of pages start from: fitted once, and again when logs or settings have changed.

use std::sync::Arc;

use super::{
    live::{Live, locked},
    plan_ground,
    planning::Ground,
};

impl Live {
    /// The farm's pens as its newest logs tell of them. Whoever comes while they are fitted waits, so that it is done once.
    pub fn plan_ground(&self) -> anyhow::Result<Arc<Ground>> {
        let mut kept = locked(&self.pens);
        let mark = self.round_rests_on()?;
        if let Some((_, ground)) = kept.as_ref().filter(|(own, _)| *own == mark) {
            return Ok(Arc::clone(ground));
        }
        let ground = Arc::new(self.ask(plan_ground::of)?);
        *kept = Some((mark, Arc::clone(&ground)));
        Ok(ground)
    }
}

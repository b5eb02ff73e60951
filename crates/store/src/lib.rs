//! The farm's one SQLite file, and the only SQL of Cowpath. It keeps what logs say and judges nothing.
//!
//! - A [`Farm`] is one connection. One writes at a time; readers are never blocked (write-ahead log).
//! - A [`Batch`] is one file read into one table: the whole of it is kept, or none of it. Every row ends as new, same,
//!   replaced or quarantined, and the four add up to the rows read.
//! - A [`Delivery`] is one file of several tables: a batch for each, all kept or none. Its documents bear names, and may
//!   be changed or taken back by a later one.
//! - All ten tables go one way, driven by the declarations of [`cowpath_core::tables`].
//! - Of visits of one cow that overlap the one that began earlier stands; the others are kept and not read by models.
//! - States of the models are kept as opaque bytes, and thrown away when a row dated at or before them changes.
//!
//! Read in this order: `open` (whose file is it), `layout` and `cells` (how a row lies in it), `batch` and `write` (how
//! it gets there), `overlap` (who stands where), `visits` and `herd` (how it comes out), `check`, `backup`.

mod arrivals;
mod backup;
mod batch;
mod boxes;
mod brought;
mod cells;
mod check;
mod delivery;
mod error;
mod farm;
mod found;
mod herd;
mod layout;
mod learned;
mod meal;
mod memory;
mod mend;
mod movement;
mod names;
mod open;
mod overlap;
mod quarantine;
mod records;
mod settings;
mod silence;
mod take_back;
mod told_of;
mod visits;
mod write;

pub use arrivals::{Arrival, Unread, Way};
pub use batch::{Batch, Displaced, Disposition, Finished, Refusal, Remark, Source, Sums};
pub use boxes::{BoxStateRow, Stay, Told};
pub use brought::{Brought, NewBrought};
pub use check::{Fault, FaultKind};
pub use delivery::{Delivered, Delivery, Origin, Sent};
pub use error::{Result, StoreError};
pub use farm::{Farm, Held};
pub use found::{Found, KeptCall, NewFound, ShownCall};
pub use learned::{KeptCosts, Missed, NewMissed, Unlearned};
pub use meal::Meal;
pub use memory::KeptRound;
pub use mend::Entry;
pub use movement::EachBin;
pub use open::FILE_NAME;
pub use quarantine::{Quarantined, RefusedRows};
pub use records::{BatchRecord, HistoryRow, KeptRemark};
pub use settings::{BoxSetting, PenSetting, Settings};
pub use silence::{Bins, Rates};

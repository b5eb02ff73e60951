//! What would happen at the boxes: a pen of cows, simulated visit by visit.
//!
//! # Equation
//! Each cow comes after an exponential amount of her hazard ([`pen`]); finds a box free or waits by rank and patience;
//! is milked if her shortest interval has passed, else turned away; a visit takes
//! minutes = handling + milk/flow, milk = rate · g(hours since her last milking) ([`herd`]).
//! Boxes close to be cleaned, serviced and mended ([`closing`]); people bring cows past their limits at fixed rounds.
//! # Chance
//! Named streams ([`streams`]), one a source of chance and cow or box: two scenarios of one seed and replicate meet the
//! same herd, the same drives and the same breakdowns, so that their difference is sharper than either.
//! # Source
//! `docs/sources.md` §1, §2, §11; stated defaults say so beside their names.
//! # Proof
//! `tests/queues.rs`: Erlang's C, Pollaczek and Khinchine's mean wait, queues of finitely many cows; `tests/traffic.rs`: a
//! plain twin without machinery, laws; `docs/validation.md`, "Traffic".
//! # Not here
//! Threads, clocks and files: the caller runs replicates side by side; a run is a function of its arguments.

mod change;
mod check;
mod closing;
pub mod counted;
pub mod drive;
pub mod fit;
mod fit_fetch;
pub mod fit_log;
mod fit_shut;
mod fit_visit;
pub mod gathered;
pub mod herd;
mod next;
pub mod noise;
pub mod parlour;
pub mod pen;
mod refine;
mod run;
pub mod setup;
pub mod spread;
pub mod streams;
mod worth;

pub use change::Change;
pub use check::{Fault, check};
pub use counted::{Counted, FIGURES, Figure};
pub use gathered::{Gathered, Ready, capacities, capacity, paired, with_cows};
pub use herd::{Cow, Drawn, Stock};
pub use pen::{Closures, Coming, Feeding, Fetching, Law, Pen, Queue, Service, Traffic};
pub use run::{Days, Room, Tables, run};
pub use setup::{Cows, FreshPen, Scenario, Setup};
pub use spread::{Mean, Spread};
pub use worth::{Bounds, Limit, money_day};

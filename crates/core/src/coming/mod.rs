//! Who comes to the box by herself, and by when; whom must a person bring in?
//!
//! # Equation
//! Chance that she is not milked in a half-hour: exp(−(z·exp(η) + f)·w)
//!   η  what the herd's cows have in common: hours since her last milking, the same over those she usually lets pass, a
//!      visit since that was none, milk expected in her udder, feed earned and not had, hour of day, days in milk, parity
//!      ([`basis`])
//!   z  her own frailty, gamma, mean 1 over the herd, from what she did before; what is long past fades ([`Fits::half_life_h`])
//!   f  being brought by people, 1/h, by hour of day and hours overdue: what comes at the same hours among cows that are
//!      long overdue, and not among the others ([`Fits::brought_h`])
//!   w  hours of it in which a box of her pen ran
//! Of n hours ahead, Λ = Σ exp(η)·w: she comes by herself with 1 − (b/(b + Λ))^a, a and b those of her gamma.
//! # Censoring
//! A log does not say who was fetched. A milking that follows a mark "brought" is known to be; she is watched up to the
//! mark and not beyond. The others are split by f: without it, cows that are fetched at six would be taken to come by
//! themselves at six. Where a farm fetches at all hours, or never leaves a cow long, the two cannot be told apart.
//! A box that was cleaned, mended or off is not the cow's fault: those hours are not counted against her.
//! # Source
//! Prior of the interval: `sources.md` §1 (9.2 ± 3.3 h, Hogeveen et al. 2001). Hour of day: `sources.md` §11, practice.
//! Everything else is a stated default beside its name.
//! # Proof
//! `tests/coming.rs` (laws); `docs/validation.md`, "who comes by herself".
//! # Not here
//! Why she does not come: [`crate::causes`].

pub mod ahead;
pub mod basis;
pub mod fit;
pub mod halves;
pub mod limits;
pub mod list;
pub mod wait;

pub use ahead::{Ahead, Chances};
pub use fit::{Fits, fit};
pub use halves::{Course, Half, Open, Seen, What};
pub use limits::{Limits, Stretch};
pub use list::{Bring, Candidate, Listed};
pub use wait::Wait;

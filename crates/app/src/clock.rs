//! The one file that asks the clock and the machine's time zone.

use jiff::{Timestamp, tz::TimeZone};

/// The instant it is now.
#[allow(clippy::disallowed_methods, reason = "everything else is handed the time by this function")]
pub fn now() -> Timestamp {
    Timestamp::now()
}

/// Measures how long something takes.
pub struct Stopwatch(std::time::Instant);

impl Stopwatch {
    /// Starts now.
    pub fn start() -> Stopwatch {
        Stopwatch(std::time::Instant::now())
    }

    /// Time since its start.
    pub fn elapsed(&self) -> std::time::Duration {
        self.0.elapsed()
    }
}

/// IANA name of the machine's zone, `UTC` where it cannot be told.
pub fn machine_zone_name() -> String {
    TimeZone::try_system()
        .ok()
        .and_then(|zone| zone.iana_name().map(str::to_owned))
        .unwrap_or_else(|| "UTC".into())
}

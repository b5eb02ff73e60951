//! The one file that asks the clock and the machine's time zone.

use jiff::{Timestamp, tz::TimeZone};

/// The instant it is now.
#[allow(clippy::disallowed_methods, reason = "everything else is handed the time by this function")]
pub fn now() -> Timestamp {
    Timestamp::now()
}

/// IANA name of the machine's zone, `UTC` where it cannot be told.
pub fn machine_zone_name() -> String {
    TimeZone::try_system()
        .ok()
        .and_then(|zone| zone.iana_name().map(str::to_owned))
        .unwrap_or_else(|| "UTC".into())
}

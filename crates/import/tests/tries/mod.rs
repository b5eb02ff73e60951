//! How often a law is tried: as often as it says, or as often as `COWPATH_TRIES` says, for a long run of its own.

/// Tries of a law that usually has `usual`.
pub fn tries(usual: u32) -> u32 {
    std::env::var("COWPATH_TRIES").ok().and_then(|words| words.parse().ok()).unwrap_or(usual)
}

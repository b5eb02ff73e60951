//! Findings into sentences: all wording and all rounding, in one place.

//! Snapshots of the sentences.

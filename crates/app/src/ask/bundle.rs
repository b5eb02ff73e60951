//! Rows on their way from the reader's thread to the keeper's, in bundles whose memory is used again.

use std::sync::mpsc::{Receiver, SyncSender};

use cowpath_core::tables::{Cell, Table};
use cowpath_import::{Issue, Sink};

/// Rows in one bundle: large enough that handing it over costs nothing, small enough that memory stays small.
const ROWS_IN_BUNDLE: usize = 512;

/// What travels from the reader to the keeper.
pub(super) enum Parcel {
    Table(&'static Table, Vec<String>),
    Rows(Vec<(u64, Vec<Cell>)>, usize),
    Issue(Issue),
}

/// The reader's end: bundles rows and takes emptied bundles back.
pub(super) struct Bundler {
    to_keeper: SyncSender<Parcel>,
    emptied: Receiver<Vec<(u64, Vec<Cell>)>>,
    bundle: Vec<(u64, Vec<Cell>)>,
    used: usize,
}

/// The keeper has stopped; its own error tells why.
#[derive(Debug)]
pub(super) struct KeeperStopped;

impl std::fmt::Display for KeeperStopped {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("keeping stopped")
    }
}

impl std::error::Error for KeeperStopped {}

impl Bundler {
    pub fn new(to_keeper: SyncSender<Parcel>, emptied: Receiver<Vec<(u64, Vec<Cell>)>>) -> Bundler {
        Bundler { to_keeper, emptied, bundle: Vec::new(), used: 0 }
    }

    /// Sends what is in the bundle.
    pub fn send(&mut self) -> Result<(), KeeperStopped> {
        if self.used == 0 {
            return Ok(());
        }
        let fresh = self.emptied.try_recv().unwrap_or_default();
        let bundle = std::mem::replace(&mut self.bundle, fresh);
        let used = std::mem::take(&mut self.used);
        self.to_keeper.send(Parcel::Rows(bundle, used)).map_err(|_| KeeperStopped)
    }
}

impl Sink for Bundler {
    type Error = KeeperStopped;

    fn table(&mut self, table: &'static Table, columns: &[String]) -> Result<(), KeeperStopped> {
        self.to_keeper.send(Parcel::Table(table, columns.to_vec())).map_err(|_| KeeperStopped)
    }

    fn row(&mut self, line: u64, cells: &mut Vec<Cell>) -> Result<(), KeeperStopped> {
        if self.used == self.bundle.len() {
            self.bundle.push((0, vec![Cell::Missing; cells.len()]));
        }
        let place = &mut self.bundle[self.used];
        place.0 = line;
        // The reader gets the old cells back, so that their memory is used again.
        std::mem::swap(&mut place.1, cells);
        cells.resize(place.1.len(), Cell::Missing);
        self.used += 1;
        if self.used == ROWS_IN_BUNDLE { self.send() } else { Ok(()) }
    }

    fn issue(&mut self, issue: Issue) -> Result<(), KeeperStopped> {
        self.send()?;
        self.to_keeper.send(Parcel::Issue(issue)).map_err(|_| KeeperStopped)
    }
}

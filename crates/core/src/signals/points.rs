//! The points of a line, which lie among those of all cows: a large herd has some sixty thousand lines, and with room for each of
//! them by itself the system was asked for more three thousand times a round.

use std::{
    fmt,
    ops::{Deref, Range},
    sync::Arc,
};

use super::Point;

/// Points of one line, oldest first.
#[derive(Clone, Default)]
pub struct Points {
    all: Arc<Vec<Point>>,
    own: Range<usize>,
}

impl Points {
    /// Those of all that lie in a range; none where it reaches beyond them.
    pub(super) fn among(all: &Arc<Vec<Point>>, own: Range<usize>) -> Points {
        Points { all: all.clone(), own }
    }
}

impl From<Vec<Point>> for Points {
    fn from(points: Vec<Point>) -> Points {
        Points { own: 0..points.len(), all: Arc::new(points) }
    }
}

impl Deref for Points {
    type Target = [Point];

    fn deref(&self) -> &[Point] {
        self.all.get(self.own.clone()).unwrap_or_default()
    }
}

impl PartialEq for Points {
    fn eq(&self, other: &Points) -> bool {
        **self == **other
    }
}

impl fmt::Debug for Points {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&**self, out)
    }
}

-- Cows that somebody brought to the box. A mark is never changed: it is taken back, with when and by whom.
CREATE TABLE brought (
    id INTEGER PRIMARY KEY,
    animal TEXT NOT NULL,
    -- End of the milking she stood at when she was brought: the mark belongs to that interval. NULL where none was known.
    since INTEGER,
    at INTEGER NOT NULL,
    "by" TEXT,
    -- Told by the sender, so that a mark sent twice is one mark.
    sent_as TEXT UNIQUE,
    undone_at INTEGER,
    undone_by TEXT
) STRICT;
CREATE INDEX brought_at ON brought (at);

-- What a farm says its cases cost, and what was learned from what people found. All of it stays for ever.

-- Every version of the farm's own costs, newest last; that one is in force. `words` is JSON of what differs from the stated
-- costs; '{}' is the stated ones again.
CREATE TABLE costs (
    id INTEGER PRIMARY KEY,
    kept_at INTEGER NOT NULL,
    words TEXT NOT NULL
) STRICT;

-- A case that no call named, as a person told it. Taken back, never changed.
CREATE TABLE missed (
    id INTEGER PRIMARY KEY,
    animal TEXT NOT NULL,
    cause TEXT NOT NULL,
    quarter TEXT CHECK (quarter IN ('LF', 'RF', 'LR', 'RR')),
    -- When she was ill, and when it was told.
    at INTEGER NOT NULL,
    told_at INTEGER NOT NULL,
    note TEXT,
    "by" TEXT,
    undone_at INTEGER,
    undone_by TEXT
) STRICT;

-- What was learned of a cause from what was told by `told_at` no longer counts, until that is taken back itself.
CREATE TABLE unlearned (
    id INTEGER PRIMARY KEY,
    cause TEXT NOT NULL,
    told_at INTEGER NOT NULL,
    "by" TEXT,
    undone_at INTEGER,
    undone_by TEXT
) STRICT;

-- The other causes with their chances, and what was learned of each by then, as JSON by the word of the cause: an answer is
-- weighed by what was stated when it was given.
ALTER TABLE shown ADD COLUMN others TEXT NOT NULL DEFAULT '{}';
ALTER TABLE shown ADD COLUMN learned TEXT NOT NULL DEFAULT '{}';
ALTER TABLE found ADD COLUMN called_others TEXT NOT NULL DEFAULT '{}';
ALTER TABLE found ADD COLUMN called_learned TEXT NOT NULL DEFAULT '{}';

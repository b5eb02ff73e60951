-- What was shown, and what people found when they looked. Both stay for ever.

-- A call from its first round on, as it was shown last.
CREATE TABLE shown (
    call TEXT PRIMARY KEY,
    first_at INTEGER NOT NULL,
    last_at INTEGER NOT NULL CHECK (first_at <= last_at),
    subject TEXT NOT NULL CHECK (subject IN ('cow', 'box', 'herd')),
    animal TEXT,
    box TEXT,
    cause TEXT NOT NULL,
    quarter TEXT,
    probability REAL NOT NULL CHECK (probability BETWEEN 0 AND 1),
    urgency TEXT NOT NULL CHECK (urgency IN ('now', 'today', 'watch')),
    -- The first round of the newest rows that showed it, and the first of those that sent somebody at once; NULL where
    -- none did. A round of the past that somebody asks for is shown to nobody on a walk.
    walked_at INTEGER,
    now_at INTEGER,
    since INTEGER NOT NULL,
    sentence TEXT NOT NULL,
    place TEXT NOT NULL,
    model TEXT NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX shown_last ON shown (last_at);
CREATE INDEX shown_animal ON shown (animal);

-- An answer is never changed: it is taken back, with when and by whom, and another is given.
CREATE TABLE found (
    id INTEGER PRIMARY KEY,
    call TEXT NOT NULL REFERENCES shown (call),
    outcome TEXT NOT NULL
        CHECK (outcome IN ('confirmed', 'other-cause', 'other-quarter', 'nothing', 'look-again')),
    cause TEXT,
    quarter TEXT CHECK (quarter IN ('LF', 'RF', 'LR', 'RR')),
    sign TEXT,
    note TEXT,
    "by" TEXT,
    found_at INTEGER NOT NULL,
    -- As the call stood when it was answered.
    called_cause TEXT NOT NULL,
    called_quarter TEXT,
    called_probability REAL NOT NULL,
    called_urgency TEXT NOT NULL,
    -- Told by the sender, so that an answer sent twice is one answer.
    sent_as TEXT UNIQUE,
    undone_at INTEGER,
    undone_by TEXT
) STRICT;
CREATE INDEX found_call ON found (call);

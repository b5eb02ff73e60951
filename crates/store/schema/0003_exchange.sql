-- Second form: documents of other programs, which name themselves, come in several tables a file, and may be taken back.

-- Rows of earlier batches that this one took back, and what its file's format has no word for (`entry destination …`):
-- unknown, not zero.
ALTER TABLE batch ADD COLUMN rows_taken_back INTEGER NOT NULL DEFAULT 0;
ALTER TABLE batch ADD COLUMN cannot_say TEXT NOT NULL DEFAULT '';

-- Programs that documents came from.
CREATE TABLE origin_source (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;

-- Which rows a document brought, by the name it bears at its source. table_name '' : it brought none that stands for
-- itself, or was taken back (deleted = 1). modified: when its source last changed it, ms; NULL where it does not say.
CREATE TABLE origin (
    source INTEGER NOT NULL REFERENCES origin_source (id),
    source_id TEXT NOT NULL,
    table_name TEXT NOT NULL,
    row_key TEXT NOT NULL,
    modified INTEGER,
    deleted INTEGER NOT NULL DEFAULT 0,
    PRIMARY KEY (source, source_id, table_name, row_key)
) STRICT, WITHOUT ROWID;

-- The herd number that a cow's other identifiers stand for.
CREATE TABLE alias (
    scheme TEXT NOT NULL,
    id TEXT NOT NULL,
    animal TEXT NOT NULL,
    PRIMARY KEY (scheme, id)
) STRICT, WITHOUT ROWID;

-- Feed that documents of their own tell of and that belongs to a visit: its cells are the sums of these.
CREATE TABLE meal (
    source TEXT NOT NULL,
    source_id TEXT NOT NULL,
    modified INTEGER,
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    animal TEXT NOT NULL,
    started_at INTEGER NOT NULL,
    ended_at INTEGER NOT NULL,
    place TEXT NOT NULL,
    offered_kg REAL,
    eaten_kg REAL,
    deleted INTEGER NOT NULL,
    raw TEXT NOT NULL,
    -- The visit it was last found to be of; NULL until then.
    visit_animal TEXT,
    visit_box TEXT,
    visit_start INTEGER,
    PRIMARY KEY (source, source_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX meal_by_visit ON meal (visit_start, visit_animal) WHERE visit_start IS NOT NULL;
CREATE INDEX meal_by_batch ON meal (batch, line);

-- The farm's file, first form. Times are milliseconds since 1970-01-01T00:00Z, days ISO text, figures in the unit that
-- ends the column's name, words as the tables of the contract write them. NULL is "not measured", never zero; in key
-- columns, which cannot be NULL, '' stands for missing.
--
-- Every table of the contract begins with
--   batch  which reading brought the row     line   its line in that file
--   print  64-bit fingerprint of its cells, to tell the same row from a changed one without reading it
-- and then has its columns in the order of their declaration in `core`.

CREATE TABLE setting (
    name TEXT NOT NULL PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE batch (
    id INTEGER PRIMARY KEY,
    file TEXT NOT NULL,
    content BLOB NOT NULL,
    table_name TEXT NOT NULL,
    zone TEXT NOT NULL,
    map TEXT NOT NULL,
    read_at INTEGER NOT NULL,
    columns_given TEXT NOT NULL,
    columns_filled TEXT NOT NULL DEFAULT '',
    rows_read INTEGER NOT NULL DEFAULT 0,
    rows_new INTEGER NOT NULL DEFAULT 0,
    rows_same INTEGER NOT NULL DEFAULT 0,
    rows_replaced INTEGER NOT NULL DEFAULT 0,
    rows_refused INTEGER NOT NULL DEFAULT 0,
    rows_overlapping INTEGER NOT NULL DEFAULT 0,
    -- Rows put in and rows overwritten, whether or not they stand: these are what `check` counts again.
    rows_added INTEGER NOT NULL DEFAULT 0,
    rows_changed INTEGER NOT NULL DEFAULT 0,
    own_rows_changed INTEGER NOT NULL DEFAULT 0,
    displaced INTEGER NOT NULL DEFAULT 0,
    freed INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX batch_by_content ON batch (content);

CREATE TABLE remark (
    id INTEGER PRIMARY KEY,
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER,
    column_name TEXT NOT NULL,
    text TEXT NOT NULL
) STRICT;
CREATE INDEX remark_by_batch ON remark (batch);

-- Rows that could not be used. One entry for each different row, however often it is read; who saw it stands below.
CREATE TABLE quarantine (
    id INTEGER PRIMARY KEY,
    print BLOB NOT NULL UNIQUE,
    table_name TEXT NOT NULL,
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    column_name TEXT NOT NULL,
    value TEXT NOT NULL,
    reason TEXT NOT NULL,
    remedy TEXT NOT NULL,
    raw TEXT NOT NULL,
    mended_by INTEGER REFERENCES batch (id)
) STRICT;

CREATE TABLE quarantine_seen (
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    entry INTEGER NOT NULL REFERENCES quarantine (id),
    PRIMARY KEY (batch, line)
) STRICT, WITHOUT ROWID;
CREATE INDEX quarantine_seen_by_entry ON quarantine_seen (entry);

-- Rows that a later row of the same key replaced.
CREATE TABLE history (
    id INTEGER PRIMARY KEY,
    table_name TEXT NOT NULL,
    row_key TEXT NOT NULL,
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    replaced_by INTEGER NOT NULL REFERENCES batch (id),
    cells TEXT NOT NULL
) STRICT;
CREATE INDEX history_by_key ON history (table_name, row_key);

-- States of the models, thrown away by the store when a row dated at or before them changes.
CREATE TABLE checkpoint (
    model TEXT NOT NULL,
    at INTEGER NOT NULL,
    bytes BLOB NOT NULL,
    PRIMARY KEY (model, at)
) STRICT;

-- Rounds as they were given.
CREATE TABLE round (
    at INTEGER NOT NULL,
    model TEXT NOT NULL,
    json TEXT NOT NULL,
    PRIMARY KEY (at, model)
) STRICT;

-- Herd numbers and boxes as the logs write them. Ids are ours and mean nothing.
CREATE TABLE animal_name (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE,
    -- Start of the first and of the last visit of that number, standing or not.
    first_visit INTEGER,
    last_visit INTEGER
) STRICT;
CREATE TABLE box_name (id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE) STRICT;

-- By day in Greenwich (started_at / 86400000), then by cow: a cow's day lies together, the herd is read day by day, and a
-- log grows at the end.
CREATE TABLE visits (
    day INTEGER NOT NULL,
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    print INTEGER NOT NULL,
    -- 0: she was elsewhere at that time by a visit that began earlier; kept, and not read by any model.
    stands INTEGER NOT NULL,
    "animal" INTEGER NOT NULL REFERENCES animal_name (id),
    "box" INTEGER NOT NULL REFERENCES box_name (id),
    "started_at" INTEGER NOT NULL,
    "ended_at" INTEGER NOT NULL,
    "attached_at" INTEGER,
    "outcome" TEXT,
    "milk_kg" REAL,
    "lf_kg" REAL,
    "rf_kg" REAL,
    "lr_kg" REAL,
    "rr_kg" REAL,
    "lf_s" REAL,
    "rf_s" REAL,
    "lr_s" REAL,
    "rr_s" REAL,
    "lf_flow_kg_min" REAL,
    "rf_flow_kg_min" REAL,
    "lr_flow_kg_min" REAL,
    "rr_flow_kg_min" REAL,
    "lf_peak_kg_min" REAL,
    "rf_peak_kg_min" REAL,
    "lr_peak_kg_min" REAL,
    "rr_peak_kg_min" REAL,
    "lf_ms_cm" REAL,
    "rf_ms_cm" REAL,
    "lr_ms_cm" REAL,
    "rr_ms_cm" REAL,
    "lf_kicked" INTEGER,
    "rf_kicked" INTEGER,
    "lr_kicked" INTEGER,
    "rr_kicked" INTEGER,
    "lf_takeoff_kg_min" REAL,
    "rf_takeoff_kg_min" REAL,
    "lr_takeoff_kg_min" REAL,
    "rr_takeoff_kg_min" REAL,
    "blood_ppm" REAL,
    "milk_c" REAL,
    "fat_pct" REAL,
    "protein_pct" REAL,
    "lactose_pct" REAL,
    "scc_k" REAL,
    "feed_offered_kg" REAL,
    "feed_eaten_kg" REAL,
    "weight_kg" REAL,
    "destination" TEXT,
    PRIMARY KEY (day, "animal", "started_at", "box")
) STRICT, WITHOUT ROWID;
CREATE INDEX visits_set_aside ON visits (animal, started_at) WHERE stands = 0;

-- Likewise by the day of "from".
CREATE TABLE movement (
    day INTEGER NOT NULL,
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    print INTEGER NOT NULL,
    "animal" INTEGER NOT NULL REFERENCES animal_name (id),
    "from" INTEGER NOT NULL,
    "minutes" REAL NOT NULL,
    "activity" REAL,
    "rumination_min" REAL,
    "eating_min" REAL,
    "lying_min" REAL,
    "steps" REAL,
    PRIMARY KEY (day, "animal", "from")
) STRICT, WITHOUT ROWID;

CREATE TABLE animals (
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    print INTEGER NOT NULL,
    "animal" INTEGER NOT NULL REFERENCES animal_name (id),
    "official_id" TEXT NOT NULL DEFAULT '',
    "born_on" TEXT,
    "breed" TEXT,
    "parity" REAL,
    "calved_on" TEXT NOT NULL DEFAULT '',
    "pen" TEXT,
    "sire" TEXT,
    "dam" TEXT,
    PRIMARY KEY ("animal", "official_id", "calved_on")
) STRICT, WITHOUT ROWID;

CREATE TABLE events (
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    print INTEGER NOT NULL,
    "animal" INTEGER NOT NULL REFERENCES animal_name (id),
    "at" INTEGER NOT NULL,
    "kind" TEXT NOT NULL,
    "quarter" TEXT NOT NULL DEFAULT '',
    "detail" TEXT NOT NULL DEFAULT '',
    "value" REAL,
    "unit" TEXT,
    "until" INTEGER,
    "by" TEXT,
    "note" TEXT,
    PRIMARY KEY ("at", "animal", "kind", "quarter", "detail")
) STRICT, WITHOUT ROWID;

CREATE TABLE recordings (
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    print INTEGER NOT NULL,
    "animal" INTEGER NOT NULL REFERENCES animal_name (id),
    "on" TEXT NOT NULL,
    "milk_kg" REAL,
    "fat_pct" REAL,
    "protein_pct" REAL,
    "lactose_pct" REAL,
    "scc_k" REAL,
    PRIMARY KEY ("on", "animal")
) STRICT, WITHOUT ROWID;

CREATE TABLE pickups (
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    print INTEGER NOT NULL,
    "collected_at" INTEGER NOT NULL,
    "milk_kg" REAL NOT NULL,
    "fat_pct" REAL,
    "protein_pct" REAL,
    "scc_k" REAL,
    "bacteria_k" REAL,
    "milk_c" REAL,
    PRIMARY KEY ("collected_at")
) STRICT, WITHOUT ROWID;

CREATE TABLE box_states (
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    print INTEGER NOT NULL,
    "box" INTEGER NOT NULL REFERENCES box_name (id),
    "from" INTEGER NOT NULL,
    "to" INTEGER NOT NULL,
    "state" TEXT NOT NULL,
    PRIMARY KEY ("from", "box")
) STRICT, WITHOUT ROWID;

CREATE TABLE feeds (
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    print INTEGER NOT NULL,
    "feed" TEXT NOT NULL,
    "dm_pct" REAL,
    "nel_mcal_kg_dm" REAL,
    "cp_pct_dm" REAL,
    "ndf_pct_dm" REAL,
    "forage_ndf_pct_dm" REAL,
    "starch_pct_dm" REAL,
    "fat_pct_dm" REAL,
    "price_per_t" REAL,
    "kind" TEXT,
    "max_kg_dm" REAL,
    PRIMARY KEY ("feed")
) STRICT, WITHOUT ROWID;

CREATE TABLE bunk (
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    print INTEGER NOT NULL,
    "pen" TEXT NOT NULL,
    "delivered_at" INTEGER NOT NULL,
    "feed" TEXT NOT NULL,
    "kg" REAL NOT NULL,
    PRIMARY KEY ("delivered_at", "pen", "feed")
) STRICT, WITHOUT ROWID;

CREATE TABLE pushes (
    batch INTEGER NOT NULL REFERENCES batch (id),
    line INTEGER NOT NULL,
    print INTEGER NOT NULL,
    "bunk_side" TEXT NOT NULL,
    "at" INTEGER NOT NULL,
    "distance_cm" REAL,
    PRIMARY KEY ("at", "bunk_side")
) STRICT, WITHOUT ROWID;

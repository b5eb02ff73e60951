-- The header of a file as it was written, one CSV line, so that its refused rows can be shown under their columns,
-- mended, and read again.
CREATE TABLE header (
    batch INTEGER PRIMARY KEY REFERENCES batch (id),
    words TEXT NOT NULL
) STRICT;

-- Every file that came, read or not, and by which way. `batch` is NULL where it could not be read; `content` is NULL
-- where not even its bytes could be.
CREATE TABLE arrival (
    id INTEGER PRIMARY KEY,
    way TEXT NOT NULL,
    file TEXT NOT NULL,
    content BLOB,
    bytes INTEGER NOT NULL,
    came_at INTEGER NOT NULL,
    batch INTEGER REFERENCES batch (id),
    trouble TEXT NOT NULL,
    remedy TEXT NOT NULL
) STRICT;
CREATE INDEX arrival_by_content ON arrival (content);
CREATE INDEX arrival_by_batch ON arrival (batch);

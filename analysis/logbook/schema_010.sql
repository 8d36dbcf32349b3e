-- Log book, schema version 10: where on the blade hardness was read, photographs of pieces, notes about them.

-- Shares of the blade in per cent: along from heel (0) to tip (100), across from edge (0) to spine (100).
ALTER TABLE hardness ADD COLUMN along_pct REAL;
ALTER TABLE hardness ADD COLUMN across_pct REAL;

-- The picture is the file photos/DIGEST.jpg of the log book's folder; digest is its SHA-256.
CREATE TABLE photos (
    entry INTEGER PRIMARY KEY,
    piece TEXT NOT NULL COLLATE NOCASE REFERENCES pieces (piece),
    digest TEXT NOT NULL,
    width_px INTEGER NOT NULL,
    height_px INTEGER NOT NULL,
    taken_utc TEXT NOT NULL,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX photos_by_piece ON photos (piece);
CREATE INDEX photos_by_digest ON photos (digest);

CREATE TABLE piece_notes (
    entry INTEGER PRIMARY KEY,
    piece TEXT NOT NULL COLLATE NOCASE REFERENCES pieces (piece),
    at_utc TEXT NOT NULL,
    words TEXT NOT NULL,
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX piece_notes_by_piece ON piece_notes (piece);

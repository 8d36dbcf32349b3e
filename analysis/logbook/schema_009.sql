-- Log book, schema version 9: what a person said need not be asked for again, and backups that were made.

-- subject: a piece, run, furnace or sensor; NULL: all that this is about. until_day: last local day on which it counts.
CREATE TABLE set_aside (
    entry INTEGER PRIMARY KEY,
    kind TEXT NOT NULL,
    subject TEXT COLLATE NOCASE,
    until_day TEXT,
    why TEXT NOT NULL,
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;

CREATE TABLE backups (
    entry INTEGER PRIMARY KEY,
    file TEXT NOT NULL,
    made_utc TEXT NOT NULL,
    made_by TEXT NOT NULL
) STRICT;

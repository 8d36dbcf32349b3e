-- Log book, schema version 7: what was renewed or done to a furnace; from then on its figures have another baseline.

CREATE TABLE upkeep (
    entry INTEGER PRIMARY KEY,
    furnace TEXT NOT NULL,
    part TEXT NOT NULL,
    done_utc TEXT NOT NULL,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX upkeep_by_furnace ON upkeep (furnace, done_utc);

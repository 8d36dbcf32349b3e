-- Log book, schema version 6: what a person saw and did beside the runs. Treatments that were left out, the oven and a
-- second thermometer in it; coupons; what a whole run held; looks at pieces; tests of the over-temperature cut-out.

ALTER TABLE treatments ADD COLUMN not_done INTEGER NOT NULL DEFAULT 0;
ALTER TABLE treatments ADD COLUMN oven TEXT;
ALTER TABLE treatments ADD COLUMN second_c REAL;

ALTER TABLE piece_facts ADD COLUMN coupon INTEGER NOT NULL DEFAULT 0;

-- What was in the furnace in a run altogether. kg: blades and fixtures; fixtures_kg: the fixtures' share of it.
CREATE TABLE run_loads (
    entry INTEGER PRIMARY KEY,
    run TEXT REFERENCES runs (run),
    waits_for TEXT,
    kg REAL,
    fixtures TEXT,
    fixtures_kg REAL,
    empty INTEGER NOT NULL DEFAULT 0,
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT,
    CHECK (run IS NOT NULL OR waits_for IS NOT NULL)
) STRICT;
CREATE INDEX run_loads_by_run ON run_loads (run);
CREATE INDEX run_loads_waiting ON run_loads (waits_for) WHERE run IS NULL;

-- mm: how far it is off straight, or how long a crack is. stage: such as "after quench".
CREATE TABLE inspections (
    entry INTEGER PRIMARY KEY,
    piece TEXT NOT NULL COLLATE NOCASE REFERENCES pieces (piece),
    kind TEXT NOT NULL,
    seen_utc TEXT NOT NULL,
    stage TEXT,
    result TEXT,
    mm REAL,
    place TEXT,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX inspections_by_piece ON inspections (piece);

-- set_c: what the cut-out is set to; tripped_c: where it cut; reached_c: how hot it was let become without a cut.
CREATE TABLE cutout_tests (
    entry INTEGER PRIMARY KEY,
    furnace TEXT NOT NULL,
    done_on TEXT NOT NULL,
    set_c REAL NOT NULL,
    tripped_c REAL,
    reached_c REAL,
    by_itself INTEGER NOT NULL DEFAULT 0,
    run TEXT,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX cutout_tests_by_furnace ON cutout_tests (furnace, done_on);

-- The furnace's own figures rest on whether it was empty.
CREATE TRIGGER load_in AFTER INSERT ON run_loads BEGIN
    DELETE FROM figures WHERE run = NEW.run;
END;
CREATE TRIGGER load_changed AFTER UPDATE ON run_loads BEGIN
    DELETE FROM figures WHERE run = NEW.run;
END;

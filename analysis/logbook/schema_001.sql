-- Log book, schema version 1. Times are UTC text (2026-11-25T07:15:02Z), days local text (2026-11-25).
-- Tables with struck_utc hold what people entered: nothing is deleted there, a wrong entry is struck through.
-- The others repeat what run folders say and can be rebuilt from them.

CREATE TABLE recipes (
    digest TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    text TEXT NOT NULL
) STRICT;

CREATE TABLE runs (
    run TEXT PRIMARY KEY,
    folder TEXT NOT NULL,
    furnace TEXT NOT NULL,
    started_utc TEXT NOT NULL,
    ended_utc TEXT,
    zone TEXT,
    operator TEXT,
    origin TEXT NOT NULL,
    software TEXT NOT NULL,
    recipe_digest TEXT REFERENCES recipes (digest),
    recorder_id TEXT,
    recorder_counter INTEGER,
    previous_seal TEXT,
    seal TEXT,
    files TEXT NOT NULL,
    missing INTEGER NOT NULL DEFAULT 0
) STRICT;
CREATE INDEX runs_by_furnace ON runs (furnace, started_utc);
CREATE INDEX runs_by_start ON runs (started_utc);

CREATE TABLE run_sensors (
    run TEXT NOT NULL REFERENCES runs (run),
    sensor TEXT NOT NULL,
    role TEXT NOT NULL,
    serial TEXT,
    channel TEXT,
    position TEXT,
    input_offset REAL,
    thermocouple TEXT,
    tolerance_class TEXT,
    PRIMARY KEY (run, sensor)
) STRICT;

CREATE TABLE run_marks (
    run TEXT NOT NULL REFERENCES runs (run),
    number INTEGER NOT NULL,
    t_s REAL NOT NULL,
    act TEXT NOT NULL,
    piece TEXT COLLATE NOCASE,
    note TEXT NOT NULL,
    entered_later INTEGER NOT NULL,
    struck INTEGER NOT NULL
) STRICT;
CREATE INDEX run_marks_by_run ON run_marks (run);
CREATE INDEX run_marks_by_piece ON run_marks (piece);

CREATE TABLE chains (
    recorder_id TEXT PRIMARY KEY,
    counter INTEGER NOT NULL,
    seal TEXT NOT NULL,
    run TEXT NOT NULL,
    seen_utc TEXT NOT NULL
) STRICT;

CREATE TABLE verdicts (
    run TEXT PRIMARY KEY REFERENCES runs (run),
    recipe_digest TEXT NOT NULL REFERENCES recipes (digest),
    analysis_version TEXT NOT NULL,
    made_utc TEXT NOT NULL,
    verdict TEXT NOT NULL,
    answer TEXT NOT NULL
) STRICT;

CREATE TABLE figures (
    run TEXT PRIMARY KEY REFERENCES runs (run),
    recipe_digest TEXT REFERENCES recipes (digest),
    analysis_version TEXT NOT NULL,
    made_utc TEXT NOT NULL,
    audit TEXT NOT NULL,
    condition TEXT NOT NULL
) STRICT;

CREATE TABLE run_recipes (
    entry INTEGER PRIMARY KEY,
    run TEXT NOT NULL REFERENCES runs (run),
    recipe_digest TEXT NOT NULL REFERENCES recipes (digest),
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX run_recipes_by_run ON run_recipes (run);

CREATE TABLE pieces (
    piece TEXT PRIMARY KEY COLLATE NOCASE
) STRICT;

CREATE TABLE piece_facts (
    entry INTEGER PRIMARY KEY,
    piece TEXT NOT NULL COLLATE NOCASE REFERENCES pieces (piece),
    steel TEXT,
    lot TEXT,
    thickness_mm REAL,
    stamp TEXT,
    customer TEXT,
    customer_order TEXT,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE UNIQUE INDEX one_fact_a_piece ON piece_facts (piece) WHERE struck_utc IS NULL;

CREATE TABLE batches (
    batch TEXT PRIMARY KEY COLLATE NOCASE,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL
) STRICT;

CREATE TABLE batch_pieces (
    entry INTEGER PRIMARY KEY,
    batch TEXT NOT NULL COLLATE NOCASE REFERENCES batches (batch),
    piece TEXT NOT NULL COLLATE NOCASE REFERENCES pieces (piece),
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE UNIQUE INDEX once_in_a_batch ON batch_pieces (batch, piece) WHERE struck_utc IS NULL;
CREATE INDEX batches_by_piece ON batch_pieces (piece);

CREATE TABLE charges (
    charge INTEGER PRIMARY KEY,
    run TEXT REFERENCES runs (run),
    waits_for TEXT,
    number INTEGER NOT NULL,
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    CHECK (run IS NOT NULL OR waits_for IS NOT NULL)
) STRICT;
CREATE INDEX charges_by_run ON charges (run);
CREATE INDEX charges_waiting ON charges (waits_for) WHERE run IS NULL;

CREATE TABLE charge_pieces (
    entry INTEGER PRIMARY KEY,
    charge INTEGER NOT NULL REFERENCES charges (charge),
    piece TEXT NOT NULL COLLATE NOCASE REFERENCES pieces (piece),
    place TEXT,
    foil INTEGER,
    heated_faces INTEGER,
    blades INTEGER,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX charge_pieces_by_charge ON charge_pieces (charge);
CREATE INDEX charge_pieces_by_piece ON charge_pieces (piece);

CREATE TABLE hardness (
    entry INTEGER PRIMARY KEY,
    piece TEXT NOT NULL COLLATE NOCASE REFERENCES pieces (piece),
    measured_utc TEXT NOT NULL,
    stage TEXT NOT NULL,
    scale TEXT NOT NULL,
    load_n REAL,
    readings TEXT NOT NULL,
    spot TEXT,
    ground_off_mm REAL,
    tester TEXT,
    block_value REAL,
    block_readings TEXT,
    spacing_mm REAL,
    edge_mm REAL,
    thickness_mm REAL,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX hardness_by_piece ON hardness (piece);

CREATE TABLE treatments (
    entry INTEGER PRIMARY KEY,
    piece TEXT NOT NULL COLLATE NOCASE REFERENCES pieces (piece),
    kind TEXT NOT NULL,
    start_utc TEXT NOT NULL,
    end_utc TEXT,
    lowest_c REAL,
    shown_c REAL,
    removed_mm REAL,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX treatments_by_piece ON treatments (piece);

CREATE TABLE sensor_lives (
    entry INTEGER PRIMARY KEY,
    furnace TEXT NOT NULL,
    sensor TEXT NOT NULL,
    fitted_utc TEXT NOT NULL,
    role TEXT,
    serial TEXT,
    channel TEXT,
    position TEXT,
    input_offset_c REAL,
    thermocouple TEXT,
    tolerance_class TEXT,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX sensor_lives_by_sensor ON sensor_lives (furnace, sensor, fitted_utc);

CREATE TABLE calibrations (
    entry INTEGER PRIMARY KEY,
    life INTEGER NOT NULL REFERENCES sensor_lives (entry),
    done_on TEXT NOT NULL,
    due_on TEXT,
    done_by TEXT NOT NULL,
    run TEXT,
    correction TEXT NOT NULL,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX calibrations_by_life ON calibrations (life, done_on);

CREATE TABLE surveys (
    entry INTEGER PRIMARY KEY,
    furnace TEXT NOT NULL,
    done_on TEXT NOT NULL,
    due_on TEXT,
    run TEXT,
    result TEXT NOT NULL,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX surveys_by_furnace ON surveys (furnace, done_on);

CREATE TABLE accuracy_tests (
    entry INTEGER PRIMARY KEY,
    furnace TEXT NOT NULL,
    sensor TEXT NOT NULL,
    life INTEGER REFERENCES sensor_lives (entry),
    done_on TEXT NOT NULL,
    due_on TEXT,
    run TEXT,
    result TEXT NOT NULL,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX accuracy_by_furnace ON accuracy_tests (furnace, done_on);

CREATE TABLE dispositions (
    entry INTEGER PRIMARY KEY,
    run TEXT NOT NULL REFERENCES runs (run),
    finding TEXT,
    step INTEGER,
    decision TEXT NOT NULL,
    why TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX dispositions_by_run ON dispositions (run);

-- Kept figures and verdicts rest on what was entered: what changes it makes them stale.
CREATE TRIGGER charge_in AFTER INSERT ON charge_pieces BEGIN
    DELETE FROM figures WHERE run = (SELECT run FROM charges WHERE charge = NEW.charge);
    DELETE FROM verdicts WHERE run = (SELECT run FROM charges WHERE charge = NEW.charge);
END;
CREATE TRIGGER charge_struck AFTER UPDATE ON charge_pieces BEGIN
    DELETE FROM figures WHERE run = (SELECT run FROM charges WHERE charge = NEW.charge);
    DELETE FROM verdicts WHERE run = (SELECT run FROM charges WHERE charge = NEW.charge);
END;
CREATE TRIGGER charge_bound AFTER UPDATE OF run ON charges BEGIN
    DELETE FROM figures WHERE run = NEW.run;
    DELETE FROM verdicts WHERE run = NEW.run;
END;
CREATE TRIGGER piece_thickness AFTER INSERT ON piece_facts BEGIN
    DELETE FROM figures WHERE run IN (SELECT c.run FROM charge_pieces p JOIN charges c USING (charge) WHERE p.piece = NEW.piece)
        OR run IN (SELECT run FROM run_marks WHERE piece = NEW.piece);
    DELETE FROM verdicts WHERE run IN (SELECT c.run FROM charge_pieces p JOIN charges c USING (charge) WHERE p.piece = NEW.piece)
        OR run IN (SELECT run FROM run_marks WHERE piece = NEW.piece);
END;
CREATE TRIGGER calibration_in AFTER INSERT ON calibrations BEGIN
    DELETE FROM figures WHERE run IN (SELECT r.run FROM runs r JOIN sensor_lives l ON l.furnace = r.furnace WHERE l.entry = NEW.life AND r.started_utc >= date(NEW.done_on, '-1 day'));
    DELETE FROM verdicts WHERE run IN (SELECT r.run FROM runs r JOIN sensor_lives l ON l.furnace = r.furnace WHERE l.entry = NEW.life AND r.started_utc >= date(NEW.done_on, '-1 day'));
END;
CREATE TRIGGER calibration_struck AFTER UPDATE ON calibrations BEGIN
    DELETE FROM figures WHERE run IN (SELECT r.run FROM runs r JOIN sensor_lives l ON l.furnace = r.furnace WHERE l.entry = NEW.life AND r.started_utc >= date(NEW.done_on, '-1 day'));
    DELETE FROM verdicts WHERE run IN (SELECT r.run FROM runs r JOIN sensor_lives l ON l.furnace = r.furnace WHERE l.entry = NEW.life AND r.started_utc >= date(NEW.done_on, '-1 day'));
END;
CREATE TRIGGER life_in AFTER INSERT ON sensor_lives BEGIN
    DELETE FROM figures WHERE run IN (SELECT run FROM runs WHERE furnace = NEW.furnace AND started_utc >= NEW.fitted_utc);
    DELETE FROM verdicts WHERE run IN (SELECT run FROM runs WHERE furnace = NEW.furnace AND started_utc >= NEW.fitted_utc);
END;
CREATE TRIGGER life_struck AFTER UPDATE ON sensor_lives BEGIN
    DELETE FROM figures WHERE run IN (SELECT run FROM runs WHERE furnace = NEW.furnace AND started_utc >= NEW.fitted_utc);
    DELETE FROM verdicts WHERE run IN (SELECT run FROM runs WHERE furnace = NEW.furnace AND started_utc >= NEW.fitted_utc);
END;
CREATE TRIGGER recipe_given AFTER INSERT ON run_recipes BEGIN
    DELETE FROM figures WHERE run = NEW.run;
    DELETE FROM verdicts WHERE run = NEW.run;
END;

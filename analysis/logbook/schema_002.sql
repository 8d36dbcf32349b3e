-- Log book, schema version 2: measured packets, and verdicts that stay beside those that took their place.

CREATE TABLE packet_files (
    digest TEXT PRIMARY KEY,
    name TEXT NOT NULL,
    text TEXT NOT NULL
) STRICT;

-- since: local day from which a measured packet counts, for runs that began on it or later.
CREATE TABLE measured_packets (
    entry INTEGER PRIMARY KEY,
    packet_digest TEXT NOT NULL REFERENCES packet_files (digest),
    name TEXT NOT NULL,
    since TEXT NOT NULL,
    foil INTEGER NOT NULL,
    note TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;

-- The measured packet that a run carries, and the one that the recipe named when a run was given it.
ALTER TABLE runs ADD COLUMN packet_digest TEXT REFERENCES packet_files (digest);
ALTER TABLE run_recipes ADD COLUMN packet_digest TEXT REFERENCES packet_files (digest);

CREATE TABLE earlier_verdicts (
    entry INTEGER PRIMARY KEY,
    run TEXT NOT NULL REFERENCES runs (run),
    recipe_digest TEXT NOT NULL REFERENCES recipes (digest),
    analysis_version TEXT NOT NULL,
    made_utc TEXT NOT NULL,
    verdict TEXT NOT NULL,
    answer TEXT NOT NULL,
    replaced_utc TEXT NOT NULL,
    why TEXT NOT NULL
) STRICT;
CREATE INDEX earlier_verdicts_by_run ON earlier_verdicts (run);

-- A verdict is up to date while its run has figures by the same rules: what makes figures stale leaves the verdict,
-- so that the next one can be compared with it.
DROP TRIGGER charge_in;
DROP TRIGGER charge_struck;
DROP TRIGGER charge_bound;
DROP TRIGGER piece_thickness;
DROP TRIGGER calibration_in;
DROP TRIGGER calibration_struck;
DROP TRIGGER life_in;
DROP TRIGGER life_struck;
DROP TRIGGER recipe_given;

CREATE TRIGGER charge_in AFTER INSERT ON charge_pieces BEGIN
    DELETE FROM figures WHERE run = (SELECT run FROM charges WHERE charge = NEW.charge);
END;
CREATE TRIGGER charge_struck AFTER UPDATE ON charge_pieces BEGIN
    DELETE FROM figures WHERE run = (SELECT run FROM charges WHERE charge = NEW.charge);
END;
CREATE TRIGGER charge_bound AFTER UPDATE OF run ON charges BEGIN
    DELETE FROM figures WHERE run = NEW.run;
END;
CREATE TRIGGER piece_thickness AFTER INSERT ON piece_facts BEGIN
    DELETE FROM figures WHERE run IN (SELECT c.run FROM charge_pieces p JOIN charges c USING (charge) WHERE p.piece = NEW.piece)
        OR run IN (SELECT run FROM run_marks WHERE piece = NEW.piece);
END;
CREATE TRIGGER piece_struck AFTER UPDATE ON piece_facts BEGIN
    DELETE FROM figures WHERE run IN (SELECT c.run FROM charge_pieces p JOIN charges c USING (charge) WHERE p.piece = NEW.piece)
        OR run IN (SELECT run FROM run_marks WHERE piece = NEW.piece);
END;
CREATE TRIGGER treatment_in AFTER INSERT ON treatments BEGIN
    DELETE FROM figures WHERE run IN (SELECT c.run FROM charge_pieces p JOIN charges c USING (charge) WHERE p.piece = NEW.piece)
        OR run IN (SELECT run FROM run_marks WHERE piece = NEW.piece);
END;
CREATE TRIGGER treatment_struck AFTER UPDATE ON treatments BEGIN
    DELETE FROM figures WHERE run IN (SELECT c.run FROM charge_pieces p JOIN charges c USING (charge) WHERE p.piece = NEW.piece)
        OR run IN (SELECT run FROM run_marks WHERE piece = NEW.piece);
END;
CREATE TRIGGER calibration_in AFTER INSERT ON calibrations BEGIN
    DELETE FROM figures WHERE run IN (SELECT r.run FROM runs r JOIN sensor_lives l ON l.furnace = r.furnace WHERE l.entry = NEW.life AND r.started_utc >= date(NEW.done_on, '-1 day'));
END;
CREATE TRIGGER calibration_struck AFTER UPDATE ON calibrations BEGIN
    DELETE FROM figures WHERE run IN (SELECT r.run FROM runs r JOIN sensor_lives l ON l.furnace = r.furnace WHERE l.entry = NEW.life AND r.started_utc >= date(NEW.done_on, '-1 day'));
END;
CREATE TRIGGER life_in AFTER INSERT ON sensor_lives BEGIN
    DELETE FROM figures WHERE run IN (SELECT run FROM runs WHERE furnace = NEW.furnace AND started_utc >= NEW.fitted_utc);
END;
CREATE TRIGGER life_struck AFTER UPDATE ON sensor_lives BEGIN
    DELETE FROM figures WHERE run IN (SELECT run FROM runs WHERE furnace = NEW.furnace AND started_utc >= NEW.fitted_utc);
END;
CREATE TRIGGER recipe_given AFTER INSERT ON run_recipes BEGIN
    DELETE FROM figures WHERE run = NEW.run;
END;
CREATE TRIGGER recipe_struck AFTER UPDATE ON run_recipes BEGIN
    DELETE FROM figures WHERE run = NEW.run;
END;
CREATE TRIGGER packet_in AFTER INSERT ON measured_packets BEGIN
    DELETE FROM figures WHERE run IN (SELECT run FROM runs WHERE started_utc >= date(NEW.since, '-1 day'));
END;
CREATE TRIGGER packet_struck AFTER UPDATE ON measured_packets BEGIN
    DELETE FROM figures WHERE run IN (SELECT run FROM runs WHERE started_utc >= date(NEW.since, '-1 day'));
END;

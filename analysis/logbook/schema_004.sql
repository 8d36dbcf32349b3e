-- Log book, schema version 4: what a calibration was made from, checks beside calibrations, calibrations that count
-- from an earlier day on purpose, and how long each sensor was hot in each run.

ALTER TABLE sensor_lives ADD COLUMN diameter_mm REAL;
ALTER TABLE sensor_lives ADD COLUMN cuts INTEGER;

-- kind: 'calibration', or 'check' of the one in force, which it confirms or contradicts and never replaces.
ALTER TABLE calibrations ADD COLUMN kind TEXT NOT NULL DEFAULT 'calibration';

-- Everything needed to compute a calibration again: the record as JSON, and each reading used, level by level [s, degC].
CREATE TABLE calibration_records (
    calibration INTEGER PRIMARY KEY REFERENCES calibrations (entry),
    record TEXT NOT NULL
) STRICT;
CREATE TABLE calibration_readings (
    calibration INTEGER NOT NULL REFERENCES calibrations (entry),
    level INTEGER NOT NULL,
    number INTEGER NOT NULL,
    t_s REAL NOT NULL,
    reference_c REAL NOT NULL,
    sensor_c REAL NOT NULL,
    PRIMARY KEY (calibration, level, number)
) STRICT, WITHOUT ROWID;

-- counts_from: local day, earlier than the one it was done on.
CREATE TABLE calibrations_applied (
    entry INTEGER PRIMARY KEY,
    calibration INTEGER NOT NULL REFERENCES calibrations (entry),
    counts_from TEXT NOT NULL,
    why TEXT NOT NULL,
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX applied_by_calibration ON calibrations_applied (calibration);

-- Measured from the run folders, as read; files is the state of the folder that it was measured from.
CREATE TABLE run_heat (
    run TEXT NOT NULL REFERENCES runs (run),
    sensor TEXT NOT NULL,
    files TEXT NOT NULL,
    hours_800 REAL NOT NULL,
    hours_950 REAL NOT NULL,
    hottest_c REAL,
    PRIMARY KEY (run, sensor)
) STRICT, WITHOUT ROWID;

-- A calibration that counts from another day, or an hour hot in an earlier run, makes figures stale.
CREATE TRIGGER applied_in AFTER INSERT ON calibrations_applied BEGIN
    DELETE FROM figures WHERE run IN (SELECT r.run FROM runs r JOIN sensor_lives l ON l.furnace = r.furnace
        JOIN calibrations c ON c.life = l.entry
        WHERE c.entry = NEW.calibration AND r.started_utc >= date(NEW.counts_from, '-1 day'));
END;
CREATE TRIGGER applied_struck AFTER UPDATE ON calibrations_applied BEGIN
    DELETE FROM figures WHERE run IN (SELECT r.run FROM runs r JOIN sensor_lives l ON l.furnace = r.furnace
        JOIN calibrations c ON c.life = l.entry
        WHERE c.entry = NEW.calibration AND r.started_utc >= date(NEW.counts_from, '-1 day'));
END;
CREATE TRIGGER heat_in AFTER INSERT ON run_heat WHEN NEW.hours_800 > 0 BEGIN
    DELETE FROM figures WHERE run IN (SELECT later.run FROM runs later JOIN runs this USING (furnace)
        WHERE this.run = NEW.run AND later.started_utc > this.started_utc);
END;

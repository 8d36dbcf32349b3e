-- Log book, schema version 5: place differences, what the work's place has more or less than a sensor shows there. One
-- belongs to a sensor life, so it ends when that sensor is moved; moving the work's place ends it by hand.

CREATE TABLE place_differences (
    entry INTEGER PRIMARY KEY,
    life INTEGER NOT NULL REFERENCES sensor_lives (entry),
    at_c REAL NOT NULL,
    difference_c REAL NOT NULL,
    expanded_c REAL NOT NULL,
    correction_c REAL,
    correction_expanded_c REAL,
    holds_error INTEGER NOT NULL DEFAULT 0,
    source TEXT NOT NULL CHECK (source IN ('survey', 'run', 'entered')),
    run TEXT,
    survey INTEGER REFERENCES surveys (entry),
    work_place TEXT NOT NULL DEFAULT '',
    why TEXT NOT NULL DEFAULT '',
    detail TEXT,
    done_on TEXT NOT NULL,
    due_on TEXT,
    ended_utc TEXT,
    ended_by TEXT,
    ended_why TEXT,
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX place_differences_by_life ON place_differences (life, done_on);

CREATE TRIGGER place_in AFTER INSERT ON place_differences BEGIN
    DELETE FROM figures WHERE run IN (SELECT r.run FROM runs r JOIN sensor_lives l ON l.furnace = r.furnace WHERE l.entry = NEW.life AND r.started_utc >= date(NEW.done_on, '-1 day'));
END;
CREATE TRIGGER place_changed AFTER UPDATE ON place_differences BEGIN
    DELETE FROM figures WHERE run IN (SELECT r.run FROM runs r JOIN sensor_lives l ON l.furnace = r.furnace WHERE l.entry = NEW.life AND r.started_utc >= date(NEW.done_on, '-1 day'));
END;

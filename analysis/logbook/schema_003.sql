-- Log book, schema version 3: whole runs that a person struck out (test runs, wrong imports). They stay, with who, when
-- and why; lists, trends and checks go by standing_runs. Taking it back strikes the entry.

CREATE TABLE run_strikes (
    entry INTEGER PRIMARY KEY,
    run TEXT NOT NULL REFERENCES runs (run),
    why TEXT NOT NULL,
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX run_strikes_by_run ON run_strikes (run);

CREATE VIEW standing_runs AS
    SELECT * FROM runs WHERE run NOT IN (SELECT run FROM run_strikes WHERE struck_utc IS NULL);

-- Runs are judged with what is known of their furnace from the runs before.
CREATE TRIGGER run_struck AFTER INSERT ON run_strikes BEGIN
    DELETE FROM figures WHERE run IN (SELECT later.run FROM runs later JOIN runs this USING (furnace)
        WHERE this.run = NEW.run AND later.started_utc > this.started_utc);
END;
CREATE TRIGGER run_stands_again AFTER UPDATE ON run_strikes BEGIN
    DELETE FROM figures WHERE run IN (SELECT later.run FROM runs later JOIN runs this USING (furnace)
        WHERE this.run = NEW.run AND later.started_utc > this.started_utc);
END;

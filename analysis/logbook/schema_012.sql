-- Log book, schema version 12: runs of which nobody knows whether they were heatings. Why stands in their run folders;
-- a person confirms one here. Until then it is kept apart: lists, trends and verdicts go by standing_runs. What was hot
-- was hot all the same: hours go by unstruck_runs.

ALTER TABLE runs ADD COLUMN doubtful TEXT;

CREATE TABLE run_confirmations (
    entry INTEGER PRIMARY KEY,
    run TEXT NOT NULL REFERENCES runs (run),
    why TEXT NOT NULL DEFAULT '',
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX run_confirmations_by_run ON run_confirmations (run);

DROP VIEW standing_runs;
CREATE VIEW unstruck_runs AS
    SELECT * FROM runs WHERE run NOT IN (SELECT run FROM run_strikes WHERE struck_utc IS NULL);
CREATE VIEW doubtful_runs AS
    SELECT * FROM unstruck_runs WHERE doubtful IS NOT NULL
    AND run NOT IN (SELECT run FROM run_confirmations WHERE struck_utc IS NULL);
CREATE VIEW standing_runs AS
    SELECT * FROM unstruck_runs WHERE run NOT IN (SELECT run FROM doubtful_runs);

-- Runs are judged with what is known of their furnace from the runs before.
CREATE TRIGGER run_confirmed AFTER INSERT ON run_confirmations BEGIN
    DELETE FROM figures WHERE run IN (SELECT later.run FROM runs later JOIN runs this USING (furnace)
        WHERE this.run = NEW.run AND later.started_utc > this.started_utc);
END;
CREATE TRIGGER run_doubted_again AFTER UPDATE ON run_confirmations BEGIN
    DELETE FROM figures WHERE run IN (SELECT later.run FROM runs later JOIN runs this USING (furnace)
        WHERE this.run = NEW.run AND later.started_utc > this.started_utc);
END;

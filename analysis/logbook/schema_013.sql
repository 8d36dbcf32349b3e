-- Log book, schema version 13: pieces that were entered as in a doubtful run prove that somebody fired.

DROP VIEW doubtful_runs;
CREATE VIEW doubtful_runs AS
    SELECT * FROM unstruck_runs WHERE doubtful IS NOT NULL
    AND run NOT IN (SELECT run FROM run_confirmations WHERE struck_utc IS NULL)
    AND NOT EXISTS (SELECT 1 FROM charges c JOIN charge_pieces p USING (charge)
        WHERE c.run = unstruck_runs.run AND p.struck_utc IS NULL);

-- Runs are judged with what is known of their furnace from the runs before.
CREATE TRIGGER doubt_charged AFTER INSERT ON charge_pieces BEGIN
    DELETE FROM figures WHERE run IN (SELECT later.run FROM charges c JOIN runs this USING (run)
        JOIN runs later USING (furnace)
        WHERE c.charge = NEW.charge AND this.doubtful IS NOT NULL AND later.started_utc > this.started_utc);
END;
CREATE TRIGGER doubt_charge_struck AFTER UPDATE ON charge_pieces BEGIN
    DELETE FROM figures WHERE run IN (SELECT later.run FROM charges c JOIN runs this USING (run)
        JOIN runs later USING (furnace)
        WHERE c.charge = NEW.charge AND this.doubtful IS NOT NULL AND later.started_utc > this.started_utc);
END;

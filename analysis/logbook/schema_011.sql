-- Log book, schema version 11: plans made before a run, so that a run can be put beside its plan; from a reset on what
-- earlier runs taught the plans of a furnace is left out.

CREATE TABLE plans (
    entry INTEGER PRIMARY KEY,
    furnace TEXT NOT NULL,
    recipe_digest TEXT NOT NULL,
    recipe_name TEXT NOT NULL,
    packet TEXT NOT NULL,
    starts_utc TEXT NOT NULL,
    plan TEXT NOT NULL,
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;
CREATE INDEX plans_by_furnace ON plans (furnace, recipe_digest, starts_utc);

CREATE TABLE plan_resets (
    entry INTEGER PRIMARY KEY,
    furnace TEXT NOT NULL,
    entered_utc TEXT NOT NULL,
    entered_by TEXT NOT NULL,
    struck_utc TEXT,
    struck_by TEXT,
    struck_why TEXT
) STRICT;

-- Log book, schema version 8: how a mark came to be, and how exact its moment is; marks taken in before say neither.

ALTER TABLE run_marks ADD COLUMN origin TEXT;
ALTER TABLE run_marks ADD COLUMN within_s REAL;

-- Library schema 3. Never edit: a later change is another file.
-- One value of every swing lies together: a history reads a few pages, not one for each swing.
CREATE INDEX value_key ON value (key, result_id, value, sd);

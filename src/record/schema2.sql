-- Library schema 2: what the coach adds to a swing and gives the pupil. Never edit.
CREATE TABLE correction (
    id INTEGER PRIMARY KEY,
    swing_id INTEGER NOT NULL REFERENCES swing ON DELETE CASCADE,
    made_at TEXT NOT NULL,
    what TEXT NOT NULL
) STRICT;
CREATE INDEX correction_swing ON correction (swing_id);
CREATE TABLE task (
    id INTEGER PRIMARY KEY,
    lesson_id INTEGER NOT NULL REFERENCES lesson ON DELETE CASCADE,
    what TEXT NOT NULL
) STRICT;
CREATE INDEX task_lesson ON task (lesson_id);
CREATE TABLE ball_flight (
    swing_id INTEGER NOT NULL REFERENCES swing ON DELETE CASCADE,
    quantity TEXT NOT NULL,
    unit TEXT NOT NULL,
    value REAL NOT NULL,
    PRIMARY KEY (swing_id, quantity)
) STRICT, WITHOUT ROWID;
CREATE TABLE target (
    pupil_id INTEGER NOT NULL REFERENCES pupil ON DELETE CASCADE,
    key TEXT NOT NULL,
    value REAL NOT NULL,
    PRIMARY KEY (pupil_id, key)
) STRICT, WITHOUT ROWID;

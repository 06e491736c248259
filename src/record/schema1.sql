-- Library schema 1. Never edit: a later change is another file.
CREATE TABLE pupil (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE COLLATE NOCASE,
    stature_m REAL,
    handed TEXT NOT NULL CHECK (handed IN ('right', 'left')),
    minor INTEGER NOT NULL CHECK (minor IN (0, 1)),
    keep_pictures INTEGER NOT NULL CHECK (keep_pictures IN (0, 1)),
    notes TEXT NOT NULL
) STRICT;
CREATE TABLE lesson (
    id INTEGER PRIMARY KEY,
    pupil_id INTEGER NOT NULL REFERENCES pupil ON DELETE CASCADE,
    date TEXT NOT NULL,
    notes TEXT NOT NULL DEFAULT '',
    UNIQUE (pupil_id, date)
) STRICT;
CREATE TABLE swing (
    id INTEGER PRIMARY KEY,
    lesson_id INTEGER NOT NULL REFERENCES lesson ON DELETE CASCADE,
    label TEXT NOT NULL,
    club TEXT NOT NULL,
    ball TEXT NOT NULL,
    setup TEXT NOT NULL
) STRICT;
CREATE INDEX swing_lesson ON swing (lesson_id);
-- A clip is known by its content. `file` is where it lies: kept in place, or copied in.
CREATE TABLE clip (
    sha256 TEXT PRIMARY KEY,
    file TEXT NOT NULL,
    copied INTEGER NOT NULL CHECK (copied IN (0, 1))
) STRICT;
CREATE TABLE swing_clip (
    swing_id INTEGER NOT NULL REFERENCES swing ON DELETE CASCADE,
    sha256 TEXT NOT NULL REFERENCES clip,
    PRIMARY KEY (swing_id, sha256)
) STRICT, WITHOUT ROWID;
CREATE INDEX swing_clip_sha256 ON swing_clip (sha256);
-- Every result of a swing, by whatever version of the program; none is ever overwritten.
CREATE TABLE result (
    id INTEGER PRIMARY KEY,
    swing_id INTEGER NOT NULL REFERENCES swing ON DELETE CASCADE,
    program TEXT NOT NULL,
    stored_at TEXT NOT NULL,
    json TEXT NOT NULL
) STRICT;
CREATE INDEX result_swing ON result (swing_id);
-- The result's known values once more, so that a history needs no JSON.
CREATE TABLE value (
    result_id INTEGER NOT NULL REFERENCES result ON DELETE CASCADE,
    key TEXT NOT NULL,
    value REAL NOT NULL,
    sd REAL NOT NULL,
    PRIMARY KEY (result_id, key)
) STRICT, WITHOUT ROWID;
-- Files of an erased pupil that are still to be removed, by name inside the library.
CREATE TABLE doomed (file TEXT PRIMARY KEY) STRICT;
-- One row while free pages may still hold what was erased.
CREATE TABLE scrub (pending INTEGER PRIMARY KEY) STRICT;

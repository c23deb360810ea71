-- Schema 3: what a review needs. Inputs that are text are kept, so that a survey can be planned anew without its files;
-- decisions of reviewers; the counter read again where a reviewer marked it.

CREATE TABLE input_content (
  sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  content BLOB NOT NULL
) STRICT, WITHOUT ROWID;

-- Only ever added; surveys and observations by key and name, so that rows keep their meaning when jobs are merged.
CREATE TABLE decision (
  decision_id INTEGER PRIMARY KEY AUTOINCREMENT,
  key TEXT NOT NULL UNIQUE CHECK (length(key) = 64), -- SHA-256 of the row's content and of the decision before it
  survey_key TEXT NOT NULL,
  at TEXT NOT NULL, -- ISO 8601, UTC
  who TEXT NOT NULL,
  act TEXT NOT NULL,
  observation TEXT NOT NULL, -- O3, '' = the survey itself
  of_key TEXT NOT NULL, -- undo, redo: the decision meant
  time_s REAL,
  distance_m REAL,
  start_m REAL,
  end_m REAL,
  code TEXT,
  ch1 TEXT,
  ch2 TEXT,
  q1 TEXT,
  q2 TEXT,
  clock_from_h INTEGER NOT NULL,
  clock_to_h INTEGER NOT NULL,
  treatment TEXT NOT NULL,
  reading TEXT,
  box_x_px INTEGER NOT NULL,
  box_y_px INTEGER NOT NULL,
  box_width_px INTEGER NOT NULL,
  box_height_px INTEGER NOT NULL,
  rule TEXT,
  value TEXT,
  reason TEXT NOT NULL
) STRICT;
CREATE INDEX decision_by_survey ON decision (survey_key);
CREATE TRIGGER decision_is_not_changed BEFORE UPDATE ON decision BEGIN
  SELECT RAISE(ABORT, 'decisions are only ever added to');
END;
CREATE TRIGGER decision_is_not_removed BEFORE DELETE ON decision BEGIN
  SELECT RAISE(ABORT, 'decisions are only ever added to');
END;

-- Columns from unit on as in trace.
CREATE TABLE reread (
  survey_key TEXT NOT NULL,
  asked TEXT NOT NULL, -- the box marked: x,y,width,height
  unit TEXT CHECK (unit IN ('m', 'ft')),
  decimals INTEGER NOT NULL,
  box_x_px INTEGER NOT NULL,
  box_y_px INTEGER NOT NULL,
  box_width_px INTEGER NOT NULL,
  box_height_px INTEGER NOT NULL,
  has_leading_zeros INTEGER NOT NULL,
  has_decimal_comma INTEGER NOT NULL,
  duration_s REAL,
  n_readings INTEGER NOT NULL,
  readings BLOB NOT NULL,
  n_jumps INTEGER NOT NULL,
  jumps BLOB NOT NULL,
  PRIMARY KEY (survey_key, asked)
) STRICT, WITHOUT ROWID;

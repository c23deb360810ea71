-- Schema 1 of the job file: surveys and what was made of them. docs/formats/job.md explains it in words.
-- Lengths are metres unless the name says otherwise; NULL means not known. A survey's rows are never changed once put.

-- Results of one run of the program over one survey of a segment.
CREATE TABLE segment (
  segment_id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE
) STRICT;

CREATE TABLE survey (
  survey_id INTEGER PRIMARY KEY,
  key TEXT NOT NULL UNIQUE CHECK (length(key) = 64), -- SHA-256 of kind, inputs and settings
  segment_id INTEGER NOT NULL REFERENCES segment,
  kind TEXT NOT NULL CHECK (kind IN ('survey', 'recheck')),
  date TEXT,
  operator TEXT,
  stored_at TEXT NOT NULL, -- ISO 8601, UTC
  superseded_by INTEGER REFERENCES survey, -- a later run over the same video and log
  from_node TEXT,
  to_node TEXT,
  length_m REAL,
  diameter_mm REAL,
  pipe_unit_length_m REAL,
  material TEXT,
  flow TEXT CHECK (flow IN ('from-to', 'to-from'))
) STRICT;
CREATE INDEX survey_by_segment ON survey (segment_id);

CREATE TABLE input (
  survey_id INTEGER NOT NULL REFERENCES survey,
  role TEXT NOT NULL, -- sheet, video, log, kits, cure, codes
  ordinal INTEGER NOT NULL,
  path TEXT NOT NULL,
  size_bytes INTEGER NOT NULL,
  sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
  PRIMARY KEY (survey_id, role, ordinal)
) STRICT, WITHOUT ROWID;
CREATE INDEX input_by_hash ON input (sha256);

-- The rules and choices that were used, as words.
CREATE TABLE setting (
  survey_id INTEGER NOT NULL REFERENCES survey,
  name TEXT NOT NULL,
  value TEXT NOT NULL,
  PRIMARY KEY (survey_id, name)
) STRICT, WITHOUT ROWID;

-- readings: see "Trace" in docs/formats/job.md.
CREATE TABLE trace (
  survey_id INTEGER PRIMARY KEY REFERENCES survey,
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
  jumps BLOB NOT NULL
) STRICT;

CREATE TABLE alignment (
  survey_id INTEGER PRIMARY KEY REFERENCES survey,
  method TEXT NOT NULL,
  clock_offset_s REAL,
  clock_residual_s REAL,
  misclosure_m REAL,
  length_m REAL,
  is_length_assumed INTEGER NOT NULL,
  tie_misfit_m REAL
) STRICT;

CREATE TABLE tie (
  survey_id INTEGER NOT NULL REFERENCES survey,
  ordinal INTEGER NOT NULL,
  reading REAL NOT NULL,
  true_m REAL NOT NULL,
  PRIMARY KEY (survey_id, ordinal)
) STRICT, WITHOUT ROWID;

CREATE TABLE observation (
  observation_id INTEGER PRIMARY KEY,
  survey_id INTEGER NOT NULL REFERENCES survey,
  ordinal INTEGER NOT NULL,
  name TEXT NOT NULL, -- O1, O2 ...
  log_line INTEGER,
  entry_idx INTEGER NOT NULL,
  end_entry_idx INTEGER NOT NULL,
  code TEXT NOT NULL,
  ch1 TEXT NOT NULL,
  ch2 TEXT NOT NULL,
  q1 TEXT NOT NULL,
  q2 TEXT NOT NULL,
  q1_value REAL,
  q2_value REAL,
  clock_from_h INTEGER NOT NULL,
  clock_to_h INTEGER NOT NULL,
  is_at_joint INTEGER NOT NULL,
  diameter_mm REAL,
  remark TEXT NOT NULL,
  time_s REAL,
  reading_time_s REAL,
  reading_counts INTEGER, -- in units of the last digit, NULL = no reading
  reading_confidence REAL,
  reading_state TEXT NOT NULL CHECK (reading_state IN ('read', 'carried', 'hidden')),
  logged_m REAL,
  distance_m REAL,
  distance_source TEXT NOT NULL,
  start_m REAL,
  end_m REAL,
  error_m REAL,
  error_placement_m REAL,
  error_reading_m REAL,
  error_distance_m REAL,
  treatment TEXT NOT NULL CHECK (treatment IN ('none', 'line', 'prepare', 'refer', 'clear')),
  reason TEXT NOT NULL,
  prepare TEXT NOT NULL,
  flags TEXT NOT NULL, -- names, a blank between
  is_node INTEGER NOT NULL,
  is_connection INTEGER NOT NULL,
  UNIQUE (survey_id, ordinal),
  UNIQUE (survey_id, name)
) STRICT;

CREATE TABLE kit (
  survey_id INTEGER NOT NULL REFERENCES survey,
  ordinal INTEGER NOT NULL,
  name TEXT NOT NULL,
  diameter_min_mm REAL,
  diameter_max_mm REAL,
  length_um INTEGER NOT NULL,
  cost REAL NOT NULL,
  layers INTEGER,
  resin_l REAL,
  test_pressure_kpa REAL,
  max_pressure_kpa REAL,
  cure TEXT,
  PRIMARY KEY (survey_id, ordinal)
) STRICT, WITHOUT ROWID;

CREATE TABLE plan (
  survey_id INTEGER PRIMARY KEY REFERENCES survey,
  cost REAL,
  full_lining_cost REAL,
  advice TEXT NOT NULL
) STRICT;

-- Micrometres: whole numbers, so that coverage can be compared exactly.
CREATE TABLE target (
  observation_id INTEGER PRIMARY KEY REFERENCES observation,
  ordinal INTEGER NOT NULL,
  start_um INTEGER NOT NULL,
  end_um INTEGER NOT NULL
) STRICT;

CREATE TABLE repair (
  repair_id INTEGER PRIMARY KEY,
  survey_id INTEGER NOT NULL REFERENCES survey,
  ordinal INTEGER NOT NULL,
  name TEXT NOT NULL, -- R1, R2 ... in order of work
  kit_ordinal INTEGER NOT NULL,
  start_um INTEGER NOT NULL,
  length_um INTEGER NOT NULL,
  mark_m REAL,
  slack_m REAL,
  cost REAL,
  UNIQUE (survey_id, ordinal),
  UNIQUE (survey_id, name),
  FOREIGN KEY (survey_id, kit_ordinal) REFERENCES kit (survey_id, ordinal)
) STRICT;

CREATE TABLE repair_observation (
  repair_id INTEGER NOT NULL REFERENCES repair,
  relation TEXT NOT NULL CHECK (relation IN ('covers', 'reopens')),
  ordinal INTEGER NOT NULL,
  observation_id INTEGER NOT NULL REFERENCES observation,
  PRIMARY KEY (repair_id, relation, ordinal)
) STRICT, WITHOUT ROWID;
CREATE INDEX repair_by_observation ON repair_observation (observation_id);

CREATE TABLE repair_work (
  repair_id INTEGER NOT NULL REFERENCES repair,
  ordinal INTEGER NOT NULL,
  work TEXT NOT NULL,
  PRIMARY KEY (repair_id, ordinal)
) STRICT, WITHOUT ROWID;

CREATE TABLE unrepaired (
  observation_id INTEGER PRIMARY KEY REFERENCES observation,
  ordinal INTEGER NOT NULL,
  reason TEXT NOT NULL
) STRICT;

CREATE TABLE finding (
  survey_id INTEGER NOT NULL REFERENCES survey,
  stage TEXT NOT NULL,
  ordinal INTEGER NOT NULL,
  flag TEXT,
  severity TEXT NOT NULL CHECK (severity IN ('note', 'warning')),
  source TEXT,
  line INTEGER,
  time_s REAL,
  entry_idx INTEGER NOT NULL,
  message TEXT NOT NULL,
  PRIMARY KEY (survey_id, stage, ordinal)
) STRICT, WITHOUT ROWID;

-- What happened to this job, in order. Rows are only ever added; chain is the SHA-256 of the chain before and this row's key.
CREATE TABLE history (
  history_id INTEGER PRIMARY KEY AUTOINCREMENT,
  key TEXT NOT NULL UNIQUE CHECK (length(key) = 64), -- SHA-256 of the row's content, the same in every job
  chain TEXT NOT NULL CHECK (length(chain) = 64),
  at TEXT NOT NULL, -- ISO 8601, UTC
  who TEXT NOT NULL,
  event TEXT NOT NULL,
  segment TEXT NOT NULL,
  survey_key TEXT NOT NULL,
  subject TEXT NOT NULL, -- observation or repair, '' = the survey itself
  detail TEXT NOT NULL
) STRICT;
CREATE TRIGGER history_is_not_changed BEFORE UPDATE ON history BEGIN
  SELECT RAISE(ABORT, 'history is only ever added to');
END;
CREATE TRIGGER history_is_not_removed BEFORE DELETE ON history BEGIN
  SELECT RAISE(ABORT, 'history is only ever added to');
END;

-- Views in the trade's words.
CREATE VIEW current_survey AS
  SELECT s.*, g.name AS segment FROM survey s JOIN segment g USING (segment_id) WHERE s.superseded_by IS NULL;

CREATE VIEW planned_repair AS
  SELECT s.segment, s.survey_id, r.repair_id, r.name AS repair, k.name AS kit, r.length_um / 1e6 AS length_m,
         r.start_um / 1e6 AS start_m, (r.start_um + r.length_um) / 1e6 AS end_m, (r.start_um * 2 + r.length_um) / 2e6 AS stop_m,
         r.mark_m, r.slack_m, r.cost
    FROM current_survey s
    JOIN repair r USING (survey_id)
    JOIN kit k ON k.survey_id = r.survey_id AND k.ordinal = r.kit_ordinal
   WHERE s.kind = 'survey';

CREATE VIEW defect AS
  SELECT s.segment, s.survey_id, o.observation_id, o.name AS observation, o.code, o.ch1, o.ch2, o.distance_m, o.error_m,
         o.treatment, o.flags,
         (SELECT group_concat(r.name, ' ') FROM repair_observation x JOIN repair r USING (repair_id)
           WHERE x.observation_id = o.observation_id AND x.relation = 'covers') AS repairs,
         (SELECT u.reason FROM unrepaired u WHERE u.observation_id = o.observation_id) AS unrepaired_because
    FROM current_survey s JOIN observation o USING (survey_id)
   WHERE o.treatment IN ('line', 'prepare', 'refer') AND s.kind = 'survey';

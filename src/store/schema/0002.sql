-- Schema 2 of the job file: what happened after the plan. As-built rows, the reviewer's word on a recheck, cure times.
-- These rows name surveys by key, segments and repairs by name, so that they mean the same in every job.

-- Working and cure time of a resin at a temperature, as the kits' table gave them.
CREATE TABLE cure (
  survey_id INTEGER NOT NULL REFERENCES survey,
  ordinal INTEGER NOT NULL,
  name TEXT NOT NULL,
  temperature_c REAL NOT NULL,
  working_min REAL NOT NULL,
  cure_min REAL NOT NULL,
  PRIMARY KEY (survey_id, ordinal)
) STRICT, WITHOUT ROWID;

-- What a crew did at a repair. A correction is a row of its own that names the row it takes the place of.
CREATE TABLE as_built (
  as_built_id INTEGER PRIMARY KEY,
  key TEXT NOT NULL UNIQUE CHECK (length(key) = 64), -- SHA-256 of content and corrects
  content TEXT NOT NULL CHECK (length(content) = 64), -- SHA-256 of all that was said, the same in every job
  corrects TEXT NOT NULL, -- key of the row this one takes the place of, '' = none
  segment TEXT NOT NULL,
  survey_key TEXT NOT NULL, -- of the survey whose plan has the repair, '' = no survey of the segment is known
  repair TEXT NOT NULL, -- as the crew named it
  is_planned INTEGER NOT NULL, -- the plan has a repair of that name
  occurrence INTEGER NOT NULL, -- 1, 2 ...: liners set at one repair on one day, as they stand in the file
  date TEXT,
  crew TEXT NOT NULL,
  kit TEXT NOT NULL,
  lot TEXT NOT NULL,
  result TEXT NOT NULL, -- the crew's words
  outcome TEXT NOT NULL CHECK (outcome IN ('in place', 'not in place')), -- is there a liner in the pipe?
  remark TEXT NOT NULL,
  liner_length_um INTEGER,
  stop_um INTEGER, -- from the datum
  stop_digit_um INTEGER, -- size of the last digit it was written with
  mark_um INTEGER,
  test_pressure_kpa REAL,
  pressure_kpa REAL,
  pipe_temperature_c REAL,
  mixed TEXT, -- local time, YYYY-MM-DDTHH:MM or HH:MM
  inflated TEXT,
  deflated TEXT,
  source TEXT NOT NULL, -- the file, as opened
  source_sha256 TEXT NOT NULL,
  source_line INTEGER NOT NULL,
  recorded_at TEXT NOT NULL, -- ISO 8601, UTC
  who TEXT NOT NULL
) STRICT;
CREATE INDEX as_built_by_segment ON as_built (segment, repair);
CREATE INDEX as_built_by_corrects ON as_built (corrects);
CREATE INDEX as_built_by_content ON as_built (content);
CREATE INDEX as_built_by_file ON as_built (source_sha256);
CREATE TRIGGER as_built_is_not_changed BEFORE UPDATE ON as_built BEGIN
  SELECT RAISE(ABORT, 'as-built rows are only ever added');
END;
CREATE TRIGGER as_built_is_not_removed BEFORE DELETE ON as_built BEGIN
  SELECT RAISE(ABORT, 'as-built rows are only ever added');
END;

CREATE INDEX history_by_survey ON history (survey_key);
CREATE INDEX history_by_segment ON history (segment);
CREATE INDEX survey_by_superseded ON survey (superseded_by) WHERE superseded_by IS NOT NULL;

-- What was off about an as-built row, with its consequence.
CREATE TABLE as_built_finding (
  as_built_key TEXT NOT NULL REFERENCES as_built (key),
  ordinal INTEGER NOT NULL,
  concerns TEXT NOT NULL, -- repair, length, kit, stop, mark, pressure, cure ...
  severity TEXT NOT NULL CHECK (severity IN ('note', 'warning')),
  message TEXT NOT NULL,
  PRIMARY KEY (as_built_key, ordinal)
) STRICT, WITHOUT ROWID;
CREATE TRIGGER as_built_finding_is_not_changed BEFORE UPDATE ON as_built_finding BEGIN
  SELECT RAISE(ABORT, 'as-built rows are only ever added');
END;
CREATE TRIGGER as_built_finding_is_not_removed BEFORE DELETE ON as_built_finding BEGIN
  SELECT RAISE(ABORT, 'as-built rows are only ever added');
END;

-- The reviewer's word on a repair, after looking at the recheck. The latest word counts.
CREATE TABLE verdict (
  verdict_id INTEGER PRIMARY KEY,
  key TEXT NOT NULL UNIQUE CHECK (length(key) = 64), -- SHA-256 of all but the number
  segment TEXT NOT NULL,
  survey_key TEXT NOT NULL, -- of the recheck
  repair TEXT NOT NULL,
  word TEXT NOT NULL CHECK (word IN ('seen', 'not seen', 'defective')),
  remark TEXT NOT NULL,
  said_at TEXT NOT NULL, -- ISO 8601, UTC
  who TEXT NOT NULL
) STRICT;
CREATE INDEX verdict_by_survey ON verdict (survey_key);
CREATE TRIGGER verdict_is_not_changed BEFORE UPDATE ON verdict BEGIN
  SELECT RAISE(ABORT, 'verdicts are only ever added');
END;
CREATE TRIGGER verdict_is_not_removed BEFORE DELETE ON verdict BEGIN
  SELECT RAISE(ABORT, 'verdicts are only ever added');
END;

-- As-built rows that count: not corrected, and of two that both say they are the last word the later one.
CREATE VIEW as_built_in_force AS
  SELECT a.* FROM as_built a
   WHERE NOT EXISTS (SELECT 1 FROM as_built c WHERE c.corrects = a.key)
     AND NOT EXISTS (SELECT 1 FROM as_built b
                      WHERE b.segment = a.segment AND b.repair = a.repair AND b.survey_key = a.survey_key
                        AND coalesce(b.date, '') = coalesce(a.date, '') AND b.occurrence = a.occurrence
                        AND (b.recorded_at, b.key) > (a.recorded_at, a.key)
                        AND NOT EXISTS (SELECT 1 FROM as_built c WHERE c.corrects = b.key));

-- Rows recorded apart that say different things about one liner; both are kept.
CREATE VIEW as_built_conflict AS
  SELECT a.segment, a.repair, a.date, a.key AS counts, b.key AS differs, b.recorded_at, b.who, b.source, b.source_line
    FROM as_built_in_force a
    JOIN as_built b ON b.segment = a.segment AND b.repair = a.repair AND b.survey_key = a.survey_key
                   AND coalesce(b.date, '') = coalesce(a.date, '') AND b.occurrence = a.occurrence
                   AND b.content <> a.content
   WHERE NOT EXISTS (SELECT 1 FROM as_built c WHERE c.corrects = b.key);

-- Different words about one repair of one recheck, from different people: the latest counts.
CREATE VIEW verdict_conflict AS
  SELECT a.segment, a.repair, a.survey_key, a.word AS counts, a.who AS counts_who, b.word AS differs, b.who AS differs_who
    FROM verdict a JOIN verdict b ON b.survey_key = a.survey_key AND b.repair = a.repair AND b.word <> a.word AND b.who <> a.who
   WHERE NOT EXISTS (SELECT 1 FROM verdict c WHERE c.survey_key = a.survey_key AND c.repair = a.repair
                                               AND (c.said_at, c.key) > (a.said_at, a.key));

-- Runs over one recording made apart: no run knew the other, the later one counts.
CREATE VIEW survey_conflict AS
  SELECT g.name AS segment, s.key AS differs, c.key AS counts, s.stored_at AS differs_stored_at, c.stored_at AS counts_stored_at
    FROM survey s JOIN survey c ON c.survey_id = s.superseded_by JOIN segment g ON g.segment_id = s.segment_id
   WHERE NOT EXISTS (SELECT 1 FROM history h WHERE h.survey_key = s.key AND h.event = 'survey superseded');

CREATE VIEW installed_liner AS
  SELECT segment, repair, is_planned, date, crew, kit, lot, liner_length_um / 1e6 AS liner_length_m, stop_um / 1e6 AS stop_m,
         (stop_um * 2 - liner_length_um) / 2e6 AS start_m, (stop_um * 2 + liner_length_um) / 2e6 AS end_m, result, remark
    FROM as_built_in_force
   WHERE outcome = 'in place';

-- Repairs of current plans that nobody has recorded yet.
CREATE VIEW repair_to_do AS
  SELECT p.segment, p.repair, p.kit, p.length_m, p.stop_m, p.mark_m
    FROM planned_repair p JOIN survey s USING (survey_id)
   WHERE NOT EXISTS (SELECT 1 FROM as_built_in_force a
                      WHERE a.segment = p.segment AND a.survey_key = s.key AND a.repair = p.repair AND a.outcome = 'in place');

-- The clock that a picture shows, the recording's frame rate; rows of one defect.
ALTER TABLE trace ADD COLUMN clock_at_zero_s REAL; -- NULL = the picture shows no time of day
ALTER TABLE trace ADD COLUMN clock_error_s REAL;
ALTER TABLE trace ADD COLUMN clock_n_seen INTEGER NOT NULL DEFAULT 0;
ALTER TABLE trace ADD COLUMN frame_rate_hz REAL;
ALTER TABLE reread ADD COLUMN clock_at_zero_s REAL;
ALTER TABLE reread ADD COLUMN clock_error_s REAL;
ALTER TABLE reread ADD COLUMN clock_n_seen INTEGER NOT NULL DEFAULT 0;
ALTER TABLE reread ADD COLUMN frame_rate_hz REAL;

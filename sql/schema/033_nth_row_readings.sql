-- Which row of its import it is, where several stand on one line (wide sheets).
ALTER TABLE log_readings ADD COLUMN nth_row BIGINT

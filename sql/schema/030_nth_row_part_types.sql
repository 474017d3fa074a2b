-- Which row of its import it is, where several stand on one line (wide sheets).
ALTER TABLE log_part_types ADD COLUMN nth_row BIGINT

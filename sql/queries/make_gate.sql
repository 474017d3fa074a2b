-- The gate's only row.
INSERT INTO gate (seq) VALUES (0)

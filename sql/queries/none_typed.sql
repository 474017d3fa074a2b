-- No row at hand is left to be looked at.
CREATE OR REPLACE TEMP TABLE typed AS
SELECT t.*
FROM typed_rows AS t
WHERE FALSE

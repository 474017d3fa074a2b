-- Readings with a value at known places.
CREATE OR REPLACE TEMP VIEW measured AS
SELECT s.*
FROM seen AS s
WHERE s.value_mm IS NOT NULL

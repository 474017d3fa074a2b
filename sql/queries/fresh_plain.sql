-- The rows to add are all that are at hand, of which none is known; repeats are numbered later.
CREATE OR REPLACE TEMP VIEW fresh AS
SELECT
    t.*,
    1 AS copy_no
FROM ready AS t

-- The rows to add: those that are not known, each with the number of its repeat.
CREATE OR REPLACE TEMP VIEW fresh AS
SELECT
    t.*,
    coalesce(r.copy_no, 1) AS copy_no
FROM ready AS t
LEFT JOIN repeats AS r ON t.row_no = r.row_no
ANTI JOIN known AS k ON t.row_no = k.row_no

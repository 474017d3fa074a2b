-- The rows set aside that wait to be mended: those of withdrawn imports do not, and what a
-- withdrawn import mended waits again.
CREATE OR REPLACE TEMP MACRO open_set_aside() AS TABLE
    SELECT
        a.*,
        i.kind
    FROM set_aside AS a
    INNER JOIN imports AS i ON a.import_no = i.import_no
    ANTI JOIN withdrawn() AS w ON a.import_no = w.import_no
    WHERE a.closed_by IS NULL OR a.closed_by IN (SELECT u.import_no FROM withdrawn() AS u)

-- Imports seen and not withdrawn.
CREATE OR REPLACE TEMP VIEW live_imports AS
SELECT
    i.import_no,
    i.kind
FROM imports AS i
LEFT JOIN decided AS d
    ON d.about = 'import' AND d.subject = i.import_no::VARCHAR
WHERE
    i.import_no <= getvariable('upto').last_import
    AND d.settled_as IS DISTINCT FROM 'withdrawn'

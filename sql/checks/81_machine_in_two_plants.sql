-- The fleet has machines of the same name in two plants: their rows are taken as one machine's.
-- Default: as logged (one machine).
CREATE OR REPLACE TEMP TABLE machine_in_two_plants AS
WITH named AS (
    SELECT
        f.machine,
        min(f.plant) AS one_plant,
        max(f.plant) AS other_plant,
        doubt_id('machine in two plants', f.machine, '') AS id
    FROM fleet AS f
    GROUP BY f.machine
    HAVING min(f.plant) < max(f.plant)
)

SELECT
    n.id,
    'machine in two plants' AS rule,
    n.machine,
    NULL::VARCHAR AS place,
    NULL::VARCHAR AS position,
    NULL::VARCHAR AS part_type,
    NULL::TIMESTAMP AS taken_at,
    printf('%s stands in %s and in %s', n.machine, n.one_plant, n.other_plant) AS what,
    'tell them apart: [prefix] machine = "A-" in a mapping file' AS proposal,
    'as_logged' AS by_default,
    doubt_state(d.settled_as) AS state,
    d.note,
    FALSE AS acts
FROM named AS n
LEFT JOIN decided AS d ON d.about = 'doubt' AND n.id = d.subject
ORDER BY n.machine

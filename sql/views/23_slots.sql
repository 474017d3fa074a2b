-- Positions whose pieces are followed one by one, and what sits there when the watch begins.
CREATE OR REPLACE TEMP TABLE slots AS
WITH named AS (
    SELECT
        p.*,
        unnest(position_names(p.positions)) AS position
    FROM places AS p
    WHERE NOT p.is_set
)

SELECT
    n.machine,
    n.place,
    n.position,
    n.part_type,
    n.first_moment,
    n.end_moment,
    n.start_state,
    n.start_age
FROM named AS n
QUALIFY
    row_number() OVER (
        PARTITION BY n.machine, n.place, n.position
        ORDER BY (n.start_state IS NOT NULL) DESC, n.first_moment, n.part_type ASC
    ) = 1
ORDER BY n.machine, n.place, n.position

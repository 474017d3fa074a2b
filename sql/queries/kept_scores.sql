-- The record: the last scores of each day, part type and basis, oldest first. seasons counts the
-- seasons that a part type was scored in on one basis: days of one season are no new evidence.
WITH last_ones AS (
    SELECT s.*
    FROM scores AS s
    QUALIFY
        row_number() OVER (
            PARTITION BY s.season_from, s.season_until, s.as_of, s.part_type, s.basis
            ORDER BY s.score_no DESC
        ) = 1
),

counted AS (
    SELECT
        l.part_type,
        l.basis,
        count(DISTINCT l.season_from) AS seasons
    FROM last_ones AS l
    GROUP BY l.part_type, l.basis
)

SELECT
    l.as_of,
    l.part_type,
    l.actual,
    l.mean,
    l.p05,
    l.p95,
    l.covered,
    l.pinball,
    l.crps,
    l.bias,
    l.basis,
    c.seasons
FROM last_ones AS l
INNER JOIN counted AS c ON l.part_type = c.part_type AND l.basis = c.basis
ORDER BY l.as_of, l.basis, l.part_type, l.season_from, l.season_until

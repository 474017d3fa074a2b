-- Sums of the readings of pieces and sets of unknown age, one row a piece or set and day.
SELECT
    u.visit,
    u.machine,
    u.place,
    u.position,
    u.part_type,
    u.duty_group,
    u.piece,
    u.reading_day::TIMESTAMP AS day,
    u.ran::DOUBLE AS ran,
    u.readings::BIGINT AS n,
    u.sy::DOUBLE AS sy,
    u.syy::DOUBLE AS syy,
    u.replaced_share::DOUBLE AS replaced_share,
    u.culled_share::DOUBLE AS culled_share
FROM unaged AS u
ORDER BY u.machine, u.piece, u.reading_day

-- How the age of each piece and set was got: its parts, and what told them.
SELECT
    a.piece,
    a.machine,
    a.part_type,
    a.stated::DOUBLE AS stated,
    a.metered::DOUBLE AS metered,
    a.told::DOUBLE AS told,
    a.guessed::DOUBLE AS guessed,
    a.age_from
FROM ages AS a
ORDER BY a.machine, a.piece

-- What told the running hours of a machine: counted by a meter, guessed across an unlogged change
-- of the meter, and in all; the rest came from `running`.
-- $machine: which.
SELECT
    coalesce(sum(h.hours), 0)::DOUBLE AS hours,
    coalesce(sum(h.metered), 0)::DOUBLE AS metered,
    coalesce(sum(h.guessed), 0)::DOUBLE AS guessed
FROM hours_by_day AS h
WHERE h.machine = $machine

-- Whether there is a time zone of this name.
-- $name: as in Europe/Paris.
SELECT count(*) AS found
FROM pg_timezone_names() AS z
WHERE z.name = $name

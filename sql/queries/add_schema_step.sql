-- Notes that the store has had a step of the schema.
-- $number, $name, $sha256: of the step's file.
INSERT INTO schema_step (number, name, sha256)
VALUES ($number, $name, $sha256)

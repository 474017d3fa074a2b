-- A doubt that is looked at as if it were settled otherwise.
-- $subject: its id; $settled_as: as_proposed or as_logged.
SET VARIABLE supposed = {
    'subject': $subject::VARCHAR, 'settled_as': $settled_as::VARCHAR
}

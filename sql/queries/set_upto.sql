-- The last import and decision that the log views see.
-- $last_import, $last_decision: their numbers.
SET VARIABLE upto = {
    'last_import': $last_import::BIGINT, 'last_decision': $last_decision::BIGINT
}

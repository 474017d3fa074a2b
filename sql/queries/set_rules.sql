-- The rules of set_aside with what they are called and their hints, and the column of a fault that
-- several cells make together.
-- $rules, $shown, $hints, $about: side by side.
CREATE OR REPLACE TEMP TABLE set_aside_rules AS
SELECT
    unnest($rules::VARCHAR[]) AS rule,
    unnest($shown::VARCHAR[]) AS shown,
    unnest($hints::VARCHAR[]) AS hint,
    unnest($about::VARCHAR[]) AS about

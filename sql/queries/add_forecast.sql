-- Keeps the inputs of a forecast under the next number.
-- $digest: of its inputs; $plan_name, $plan_text, $as_of, $seed, $draws, $versions: the inputs.
-- $last_import, $last_decision, $snapshot: what of the logs it saw.
-- $season_from, $season_until, $currency: its season.
INSERT INTO forecasts
SELECT
    coalesce((SELECT max(f.forecast_no) FROM forecasts AS f), 0) + 1 AS forecast_no,
    $digest AS digest,
    current_localtimestamp() AS made_at,
    $plan_name AS plan_name,
    $plan_text AS plan_text,
    $as_of AS as_of,
    $seed AS seed,
    $draws AS draws,
    $versions AS versions,
    $last_import AS last_import,
    $last_decision AS last_decision,
    $snapshot AS snapshot,
    $season_from AS season_from,
    $season_until AS season_until,
    $currency AS currency

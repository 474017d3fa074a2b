-- Keeps the inputs of a forecast under the next number.
-- $digest: of its inputs; $plan_name, $plan_text, $as_of, $seed, $draws, $versions: the inputs.
-- $last_import, $last_decision, $snapshot: what of the logs it saw.
-- $season_from, $season_until, $currency: its season.
INSERT INTO forecasts (
    forecast_no, digest, made_at, plan_name, plan_text, as_of, seed, draws, versions,
    last_import, last_decision, snapshot, season_from, season_until, currency
)
VALUES (
    coalesce((SELECT max(f.forecast_no) FROM forecasts AS f), 0) + 1, $digest,
    current_localtimestamp(), $plan_name, $plan_text, $as_of, $seed, $draws, $versions,
    $last_import, $last_decision, $snapshot, $season_from, $season_until, $currency
)

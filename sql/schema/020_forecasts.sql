-- One row a kept forecast: its inputs, so that it can be taken again.
CREATE TABLE forecasts (
    forecast_no BIGINT NOT NULL,
    digest VARCHAR NOT NULL,
    made_at TIMESTAMP NOT NULL,
    plan_name VARCHAR NOT NULL,
    plan_text VARCHAR NOT NULL,
    as_of DATE NOT NULL,
    seed BIGINT NOT NULL,
    draws BIGINT NOT NULL,
    versions VARCHAR NOT NULL,
    last_import BIGINT NOT NULL,
    last_decision BIGINT NOT NULL,
    snapshot VARCHAR NOT NULL,
    season_from DATE NOT NULL,
    season_until DATE NOT NULL,
    currency VARCHAR NOT NULL
)

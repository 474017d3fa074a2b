-- Forecasts of the past against what then happened, one row a day, part type and basis. Scoring
-- again adds rows under the next number; the last ones count.
CREATE TABLE scores (
    score_no BIGINT NOT NULL,
    plan_name VARCHAR NOT NULL,
    season_from DATE NOT NULL,
    season_until DATE NOT NULL,
    known_until DATE NOT NULL,
    as_of DATE NOT NULL,
    part_type VARCHAR NOT NULL,
    basis VARCHAR NOT NULL,
    actual DOUBLE NOT NULL,
    mean DOUBLE NOT NULL,
    p05 DOUBLE NOT NULL,
    p95 DOUBLE NOT NULL,
    covered BOOLEAN NOT NULL,
    pinball DOUBLE NOT NULL,
    crps DOUBLE NOT NULL,
    bias DOUBLE NOT NULL,
    draws BIGINT NOT NULL,
    seed BIGINT NOT NULL,
    versions VARCHAR NOT NULL,
    last_import BIGINT NOT NULL,
    last_decision BIGINT NOT NULL
)

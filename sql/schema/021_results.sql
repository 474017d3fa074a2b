-- The rows of every kept forecast's results and exhibits, each as JSON.
CREATE TABLE results (
    forecast_no BIGINT NOT NULL,
    name VARCHAR NOT NULL,
    row_no BIGINT NOT NULL,
    content VARCHAR NOT NULL
)

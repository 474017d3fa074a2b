-- What people decided: on a doubt (subject = its id), or to withdraw an import (its number).
CREATE TABLE decisions (
    decision_no BIGINT NOT NULL,
    decided_on DATE NOT NULL,
    about VARCHAR NOT NULL,
    subject VARCHAR NOT NULL,
    settled_as VARCHAR NOT NULL,
    settled_at TIMESTAMP,
    note VARCHAR,
    what VARCHAR
)

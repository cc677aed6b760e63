-- Who of a breeder looked at what of a keeper's case, counted by the day.
CREATE TABLE looks (
    breeder_id TEXT    NOT NULL,
    case_id    TEXT    NOT NULL,
    by_kind    TEXT    NOT NULL,
    by_id      TEXT    NOT NULL,
    what       TEXT    NOT NULL,
    day        INTEGER NOT NULL,
    first_at   INTEGER NOT NULL,
    last_at    INTEGER NOT NULL,
    count      INTEGER NOT NULL,
    PRIMARY KEY (breeder_id, case_id, by_kind, by_id, what, day),
    FOREIGN KEY (breeder_id, case_id) REFERENCES cases
) STRICT, WITHOUT ROWID;
CREATE INDEX looks_by_age ON looks (day);

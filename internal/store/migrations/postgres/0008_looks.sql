-- The twin of sqlite/0008_looks.sql: same tables, same columns, same order.
-- Who of a breeder looked at what of a keeper's case, counted by the day.
CREATE TABLE looks (
    breeder_id TEXT COLLATE "C" NOT NULL,
    case_id    TEXT COLLATE "C" NOT NULL,
    by_kind    TEXT COLLATE "C" NOT NULL,
    by_id      TEXT COLLATE "C" NOT NULL,
    what       TEXT COLLATE "C" NOT NULL,
    day        BIGINT NOT NULL,
    first_at   BIGINT NOT NULL,
    last_at    BIGINT NOT NULL,
    count      BIGINT NOT NULL,
    PRIMARY KEY (breeder_id, case_id, by_kind, by_id, what, day),
    FOREIGN KEY (breeder_id, case_id) REFERENCES cases
);
CREATE INDEX looks_by_age ON looks (day);

-- Cards that are printed before a sale and bound to an animal at it.
CREATE TABLE cards (
    breeder_id    TEXT    NOT NULL REFERENCES breeders,
    number        INTEGER NOT NULL,
    code_hash     TEXT    NOT NULL,
    mark          TEXT    NOT NULL,
    created_at    INTEGER NOT NULL,
    revoked_at    INTEGER,
    handover_id   TEXT    NOT NULL,
    keeper_id     TEXT    NOT NULL,
    keeper_name   TEXT    NOT NULL,
    claimed_at    INTEGER,
    claim_request TEXT    NOT NULL,
    version       INTEGER NOT NULL,
    PRIMARY KEY (breeder_id, number)
) STRICT, WITHOUT ROWID;
-- By code hash alone, as handovers are.
CREATE UNIQUE INDEX cards_by_code ON cards (code_hash) WHERE code_hash <> '';
CREATE INDEX cards_by_keeper ON cards (keeper_id) WHERE keeper_id <> '';
-- What an animal was sold for.
ALTER TABLE handovers ADD COLUMN price TEXT NOT NULL DEFAULT '{}';

-- The twin of sqlite/0009_cards.sql: same tables, same columns, same order.
-- Cards that are printed before a sale and bound to an animal at it.
CREATE TABLE cards (
    breeder_id    TEXT COLLATE "C" NOT NULL REFERENCES breeders,
    number        BIGINT NOT NULL,
    code_hash     TEXT COLLATE "C" NOT NULL,
    mark          TEXT COLLATE "C" NOT NULL,
    created_at    BIGINT NOT NULL,
    revoked_at    BIGINT,
    handover_id   TEXT COLLATE "C" NOT NULL,
    keeper_id     TEXT COLLATE "C" NOT NULL,
    keeper_name   TEXT COLLATE "C" NOT NULL,
    claimed_at    BIGINT,
    claim_request TEXT COLLATE "C" NOT NULL,
    version       BIGINT NOT NULL,
    PRIMARY KEY (breeder_id, number)
);
-- By code hash alone, as handovers are.
CREATE UNIQUE INDEX cards_by_code ON cards (code_hash) WHERE code_hash <> '';
CREATE INDEX cards_by_keeper ON cards (keeper_id) WHERE keeper_id <> '';
-- What an animal was sold for.
ALTER TABLE handovers ADD COLUMN price TEXT COLLATE "C" NOT NULL DEFAULT '{}';

-- The twin of sqlite/0001_first.sql: same tables, same columns, same order.
-- Times are UTC milliseconds, documents JSON text, truths 0 or 1, ids text in
-- binary order. Columns that hold one of several words carry no CHECK: the
-- words are the domain's, and a later version may add one.
--
-- Every primary key begins with breeder_id, so that no lookup can reach across
-- breeders by leaving it out. The exceptions say why.

CREATE TABLE breeders (
    breeder_id TEXT COLLATE "C" NOT NULL CHECK (breeder_id <> ''),
    name       TEXT COLLATE "C" NOT NULL,
    contact    TEXT COLLATE "C" NOT NULL,
    time_zone  TEXT COLLATE "C" NOT NULL,
    hemisphere TEXT COLLATE "C" NOT NULL,
    created_at BIGINT NOT NULL,
    version    BIGINT NOT NULL,
    PRIMARY KEY (breeder_id)
);

CREATE TABLE users (
    breeder_id TEXT COLLATE "C" NOT NULL REFERENCES breeders,
    user_id    TEXT COLLATE "C" NOT NULL CHECK (user_id <> ''),
    name       TEXT COLLATE "C" NOT NULL,
    role       TEXT COLLATE "C" NOT NULL,
    created_at BIGINT NOT NULL,
    PRIMARY KEY (breeder_id, user_id)
);

-- By credential id alone: a sign-in sends the credential and does not say
-- whose it is; authenticators make the ids unique.
CREATE TABLE passkeys (
    credential_id TEXT COLLATE "C" NOT NULL CHECK (credential_id <> ''),
    breeder_id    TEXT COLLATE "C" NOT NULL,
    user_id       TEXT COLLATE "C" NOT NULL,
    label         TEXT COLLATE "C" NOT NULL,
    data          TEXT COLLATE "C",
    created_at    BIGINT NOT NULL,
    used_at       BIGINT,
    PRIMARY KEY (credential_id),
    FOREIGN KEY (breeder_id, user_id) REFERENCES users
);
CREATE INDEX passkeys_of_user ON passkeys (breeder_id, user_id);

-- By hash alone: a cookie or a token is all that a request brings, and some
-- secrets belong to a keeper, or for the moment to nobody.
CREATE TABLE secrets (
    hash       TEXT COLLATE "C" NOT NULL CHECK (hash <> ''),
    kind       TEXT COLLATE "C" NOT NULL,
    secret_id  TEXT COLLATE "C" NOT NULL,
    breeder_id TEXT COLLATE "C" NOT NULL,
    user_id    TEXT COLLATE "C" NOT NULL,
    keeper_id  TEXT COLLATE "C" NOT NULL,
    label      TEXT COLLATE "C" NOT NULL,
    read_only  BIGINT NOT NULL CHECK (read_only IN (0, 1)),
    data       BYTEA,
    created_at BIGINT NOT NULL,
    expires_at BIGINT NOT NULL,
    used_at    BIGINT,
    successor  TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (hash)
);
CREATE INDEX secrets_of_breeder ON secrets (breeder_id, kind);
CREATE INDEX secrets_by_expiry ON secrets (expires_at);

CREATE TABLE animals (
    breeder_id   TEXT COLLATE "C" NOT NULL REFERENCES breeders,
    animal_id    TEXT COLLATE "C" NOT NULL CHECK (animal_id <> ''),
    name         TEXT COLLATE "C" NOT NULL,
    species      TEXT COLLATE "C" NOT NULL,
    sex          TEXT COLLATE "C" NOT NULL,
    hatched      BIGINT,
    genes        TEXT COLLATE "C" NOT NULL,
    mother_id    TEXT COLLATE "C" NOT NULL,
    father_id    TEXT COLLATE "C" NOT NULL,
    clutch       TEXT COLLATE "C" NOT NULL,
    snout_vent   DOUBLE PRECISION NOT NULL,
    total_length DOUBLE PRECISION NOT NULL,
    note         TEXT COLLATE "C" NOT NULL,
    created_at   BIGINT NOT NULL,
    updated_at   BIGINT NOT NULL,
    deleted_at   BIGINT,
    version      BIGINT NOT NULL,
    search       TEXT COLLATE "C" NOT NULL, -- folded name, species, clutch and genes
    PRIMARY KEY (breeder_id, animal_id)
);
CREATE INDEX animals_newest ON animals (breeder_id, created_at DESC, animal_id DESC);

-- No index beside the key: everything asks for one animal's log, which is short
-- enough to sort after reading.
CREATE TABLE entries (
    breeder_id   TEXT COLLATE "C" NOT NULL,
    animal_id    TEXT COLLATE "C" NOT NULL,
    entry_id     TEXT COLLATE "C" NOT NULL CHECK (entry_id <> ''),
    case_id      TEXT COLLATE "C" NOT NULL,
    by_kind      TEXT COLLATE "C" NOT NULL,
    by_id        TEXT COLLATE "C" NOT NULL,
    happened_at  BIGINT NOT NULL,
    received_at  BIGINT NOT NULL,
    replaces     TEXT COLLATE "C" NOT NULL,
    replaced_by  TEXT COLLATE "C" NOT NULL,
    confirmed    BIGINT NOT NULL CHECK (confirmed IN (0, 1)),
    note         TEXT COLLATE "C" NOT NULL,
    kind         TEXT COLLATE "C" NOT NULL,
    body         TEXT COLLATE "C" NOT NULL,
    offer_result TEXT COLLATE "C" NOT NULL, -- '' unless the entry is an offer
    PRIMARY KEY (breeder_id, animal_id, entry_id),
    FOREIGN KEY (breeder_id, animal_id) REFERENCES animals
);

CREATE TABLE handovers (
    breeder_id       TEXT COLLATE "C" NOT NULL,
    handover_id      TEXT COLLATE "C" NOT NULL CHECK (handover_id <> ''),
    animal_id        TEXT COLLATE "C" NOT NULL,
    state            TEXT COLLATE "C" NOT NULL,
    handed_over_at   BIGINT NOT NULL,
    show_day         TEXT COLLATE "C" NOT NULL,
    buyer_note       TEXT COLLATE "C" NOT NULL,
    record           TEXT COLLATE "C" NOT NULL,
    code_hash        TEXT COLLATE "C" NOT NULL,
    claim_expires_at BIGINT NOT NULL,
    claimed_at       BIGINT,
    keeper_id        TEXT COLLATE "C" NOT NULL,
    created_at       BIGINT NOT NULL,
    version          BIGINT NOT NULL,
    PRIMARY KEY (breeder_id, handover_id),
    FOREIGN KEY (breeder_id, animal_id) REFERENCES animals
);
CREATE INDEX handovers_newest ON handovers (breeder_id, created_at DESC, handover_id DESC);
-- By code hash alone: a keeper who scans a card has the code and nothing else.
CREATE UNIQUE INDEX handovers_by_code ON handovers (code_hash) WHERE code_hash <> '';

CREATE TABLE cases (
    breeder_id     TEXT COLLATE "C" NOT NULL,
    case_id        TEXT COLLATE "C" NOT NULL,
    animal_id      TEXT COLLATE "C" NOT NULL,
    keeper_id      TEXT COLLATE "C" NOT NULL,
    keeper_name    TEXT COLLATE "C" NOT NULL,
    handed_over_at BIGINT NOT NULL,
    closed_at      BIGINT,
    outcome        TEXT COLLATE "C" NOT NULL,
    learned_mean     DOUBLE PRECISION NOT NULL,
    learned_strength DOUBLE PRECISION NOT NULL,
    learned_animals  BIGINT NOT NULL,
    created_at     BIGINT NOT NULL,
    standing       BIGINT NOT NULL,
    urgency        DOUBLE PRECISION NOT NULL,
    headline       TEXT COLLATE "C" NOT NULL,
    assessment     TEXT COLLATE "C",
    assessed_at    BIGINT NOT NULL,
    due_at         BIGINT NOT NULL,
    last_heard     BIGINT,
    seen_at        BIGINT,
    changed_at     BIGINT NOT NULL,
    version        BIGINT NOT NULL,
    open           BIGINT NOT NULL CHECK (open = CASE WHEN closed_at IS NULL THEN 1 ELSE 0 END),
    PRIMARY KEY (breeder_id, case_id),
    FOREIGN KEY (breeder_id, case_id) REFERENCES handovers,
    FOREIGN KEY (breeder_id, animal_id) REFERENCES animals
);
CREATE INDEX cases_by_urgency ON cases (breeder_id, open, urgency DESC, case_id);
CREATE INDEX cases_of_animal ON cases (breeder_id, animal_id, urgency DESC, case_id);
-- The daily pass and a keeper's phone ask across breeders; the indexes are
-- theirs alone.
CREATE INDEX cases_due ON cases (due_at) WHERE open = 1;
CREATE INDEX cases_of_keeper ON cases (keeper_id) WHERE keeper_id <> '';

CREATE TABLE flags (
    breeder_id TEXT COLLATE "C" NOT NULL,
    case_id    TEXT COLLATE "C" NOT NULL,
    flag_id    TEXT COLLATE "C" NOT NULL CHECK (flag_id <> ''),
    code       TEXT COLLATE "C" NOT NULL,
    level      BIGINT NOT NULL,
    text       TEXT COLLATE "C" NOT NULL,
    opened_at  BIGINT NOT NULL,
    closed_at  BIGINT,
    history    TEXT COLLATE "C" NOT NULL,
    PRIMARY KEY (breeder_id, case_id, flag_id),
    FOREIGN KEY (breeder_id, case_id) REFERENCES cases
);

-- By id alone: one keeper may have animals of several breeders.
CREATE TABLE keepers (
    keeper_id  TEXT COLLATE "C" NOT NULL CHECK (keeper_id <> ''),
    name       TEXT COLLATE "C" NOT NULL,
    created_at BIGINT NOT NULL,
    PRIMARY KEY (keeper_id)
);

CREATE TABLE photos (
    breeder_id  TEXT COLLATE "C" NOT NULL,
    photo_id    TEXT COLLATE "C" NOT NULL CHECK (photo_id <> ''),
    case_id     TEXT COLLATE "C" NOT NULL,
    by_kind     TEXT COLLATE "C" NOT NULL,
    by_id       TEXT COLLATE "C" NOT NULL,
    hash        TEXT COLLATE "C" NOT NULL,
    source      TEXT COLLATE "C" NOT NULL,
    width       BIGINT NOT NULL,
    height      BIGINT NOT NULL,
    bytes       BIGINT NOT NULL,
    dark        BIGINT NOT NULL CHECK (dark IN (0, 1)),
    blurred     BIGINT NOT NULL CHECK (blurred IN (0, 1)),
    taken_at    BIGINT,
    received_at BIGINT NOT NULL,
    PRIMARY KEY (breeder_id, photo_id),
    FOREIGN KEY (breeder_id, case_id) REFERENCES cases
);
CREATE INDEX photos_of_case ON photos (breeder_id, case_id, received_at, photo_id);

-- By who asked, which is a breeder or a keeper.
CREATE TABLE answered (
    scope      TEXT COLLATE "C" NOT NULL,
    request_id TEXT COLLATE "C" NOT NULL CHECK (request_id <> ''),
    digest     TEXT COLLATE "C" NOT NULL,
    answer     BYTEA,
    at         BIGINT NOT NULL,
    PRIMARY KEY (scope, request_id)
);
CREATE INDEX answered_by_age ON answered (at);

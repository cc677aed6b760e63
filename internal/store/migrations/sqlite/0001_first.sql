-- Times are UTC milliseconds, documents JSON text, truths 0 or 1, ids text in
-- binary order. Columns that hold one of several words carry no CHECK: the
-- words are the domain's, and a later version may add one.
--
-- Every primary key begins with breeder_id, so that no lookup can reach across
-- breeders by leaving it out. The exceptions say why.

CREATE TABLE breeders (
    breeder_id TEXT    NOT NULL CHECK (breeder_id <> ''),
    name       TEXT    NOT NULL,
    contact    TEXT    NOT NULL,
    time_zone  TEXT    NOT NULL,
    hemisphere TEXT    NOT NULL,
    created_at INTEGER NOT NULL,
    version    INTEGER NOT NULL,
    PRIMARY KEY (breeder_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE users (
    breeder_id TEXT    NOT NULL REFERENCES breeders,
    user_id    TEXT    NOT NULL CHECK (user_id <> ''),
    name       TEXT    NOT NULL,
    role       TEXT    NOT NULL,
    created_at INTEGER NOT NULL,
    PRIMARY KEY (breeder_id, user_id)
) STRICT, WITHOUT ROWID;

-- By credential id alone: a sign-in sends the credential and does not say
-- whose it is; authenticators make the ids unique.
CREATE TABLE passkeys (
    credential_id TEXT    NOT NULL CHECK (credential_id <> ''),
    breeder_id    TEXT    NOT NULL,
    user_id       TEXT    NOT NULL,
    label         TEXT    NOT NULL,
    data          TEXT,
    created_at    INTEGER NOT NULL,
    used_at       INTEGER,
    PRIMARY KEY (credential_id),
    FOREIGN KEY (breeder_id, user_id) REFERENCES users
) STRICT, WITHOUT ROWID;
CREATE INDEX passkeys_of_user ON passkeys (breeder_id, user_id);

-- By hash alone: a cookie or a token is all that a request brings, and some
-- secrets belong to a keeper, or for the moment to nobody.
CREATE TABLE secrets (
    hash       TEXT    NOT NULL CHECK (hash <> ''),
    kind       TEXT    NOT NULL,
    secret_id  TEXT    NOT NULL,
    breeder_id TEXT    NOT NULL,
    user_id    TEXT    NOT NULL,
    keeper_id  TEXT    NOT NULL,
    label      TEXT    NOT NULL,
    read_only  INTEGER NOT NULL CHECK (read_only IN (0, 1)),
    data       BLOB,
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    used_at    INTEGER,
    successor  TEXT    NOT NULL,
    PRIMARY KEY (hash)
) STRICT, WITHOUT ROWID;
CREATE INDEX secrets_of_breeder ON secrets (breeder_id, kind);
CREATE INDEX secrets_by_expiry ON secrets (expires_at);

CREATE TABLE animals (
    breeder_id   TEXT    NOT NULL REFERENCES breeders,
    animal_id    TEXT    NOT NULL CHECK (animal_id <> ''),
    name         TEXT    NOT NULL,
    species      TEXT    NOT NULL,
    sex          TEXT    NOT NULL,
    hatched      INTEGER,
    genes        TEXT    NOT NULL,
    mother_id    TEXT    NOT NULL,
    father_id    TEXT    NOT NULL,
    clutch       TEXT    NOT NULL,
    snout_vent   REAL    NOT NULL,
    total_length REAL    NOT NULL,
    note         TEXT    NOT NULL,
    created_at   INTEGER NOT NULL,
    updated_at   INTEGER NOT NULL,
    deleted_at   INTEGER,
    version      INTEGER NOT NULL,
    search       TEXT    NOT NULL, -- folded name, species, clutch and genes
    PRIMARY KEY (breeder_id, animal_id)
) STRICT;
CREATE INDEX animals_newest ON animals (breeder_id, created_at DESC, animal_id DESC);

-- One tree and no index beside it: everything asks for one animal's log, which
-- is short enough to sort after reading, and a write touches one page.
CREATE TABLE entries (
    breeder_id   TEXT    NOT NULL,
    animal_id    TEXT    NOT NULL,
    entry_id     TEXT    NOT NULL CHECK (entry_id <> ''),
    case_id      TEXT    NOT NULL,
    by_kind      TEXT    NOT NULL,
    by_id        TEXT    NOT NULL,
    happened_at  INTEGER NOT NULL,
    received_at  INTEGER NOT NULL,
    replaces     TEXT    NOT NULL,
    replaced_by  TEXT    NOT NULL,
    confirmed    INTEGER NOT NULL CHECK (confirmed IN (0, 1)),
    note         TEXT    NOT NULL,
    kind         TEXT    NOT NULL,
    body         TEXT    NOT NULL,
    offer_result TEXT    NOT NULL, -- '' unless the entry is an offer
    PRIMARY KEY (breeder_id, animal_id, entry_id),
    FOREIGN KEY (breeder_id, animal_id) REFERENCES animals
) STRICT, WITHOUT ROWID;

CREATE TABLE handovers (
    breeder_id       TEXT    NOT NULL,
    handover_id      TEXT    NOT NULL CHECK (handover_id <> ''),
    animal_id        TEXT    NOT NULL,
    state            TEXT    NOT NULL,
    handed_over_at   INTEGER NOT NULL,
    show_day         TEXT    NOT NULL,
    buyer_note       TEXT    NOT NULL,
    record           TEXT    NOT NULL,
    code_hash        TEXT    NOT NULL,
    claim_expires_at INTEGER NOT NULL,
    claimed_at       INTEGER,
    keeper_id        TEXT    NOT NULL,
    created_at       INTEGER NOT NULL,
    version          INTEGER NOT NULL,
    PRIMARY KEY (breeder_id, handover_id),
    FOREIGN KEY (breeder_id, animal_id) REFERENCES animals
) STRICT;
CREATE INDEX handovers_newest ON handovers (breeder_id, created_at DESC, handover_id DESC);
-- By code hash alone: a keeper who scans a card has the code and nothing else.
CREATE UNIQUE INDEX handovers_by_code ON handovers (code_hash) WHERE code_hash <> '';

CREATE TABLE cases (
    breeder_id     TEXT    NOT NULL,
    case_id        TEXT    NOT NULL,
    animal_id      TEXT    NOT NULL,
    keeper_id      TEXT    NOT NULL,
    keeper_name    TEXT    NOT NULL,
    handed_over_at INTEGER NOT NULL,
    closed_at      INTEGER,
    outcome        TEXT    NOT NULL,
    learned_mean     REAL    NOT NULL,
    learned_strength REAL    NOT NULL,
    learned_animals  INTEGER NOT NULL,
    created_at     INTEGER NOT NULL,
    standing       INTEGER NOT NULL,
    urgency        REAL    NOT NULL,
    headline       TEXT    NOT NULL,
    assessment     TEXT,
    assessed_at    INTEGER NOT NULL,
    due_at         INTEGER NOT NULL,
    last_heard     INTEGER,
    seen_at        INTEGER,
    changed_at     INTEGER NOT NULL,
    version        INTEGER NOT NULL,
    open           INTEGER NOT NULL CHECK (open = (closed_at IS NULL)),
    PRIMARY KEY (breeder_id, case_id),
    FOREIGN KEY (breeder_id, case_id) REFERENCES handovers,
    FOREIGN KEY (breeder_id, animal_id) REFERENCES animals
) STRICT;
CREATE INDEX cases_by_urgency ON cases (breeder_id, open, urgency DESC, case_id);
CREATE INDEX cases_of_animal ON cases (breeder_id, animal_id, urgency DESC, case_id);
-- The daily pass and a keeper's phone ask across breeders; the indexes are
-- theirs alone.
CREATE INDEX cases_due ON cases (due_at) WHERE open = 1;
CREATE INDEX cases_of_keeper ON cases (keeper_id) WHERE keeper_id <> '';

CREATE TABLE flags (
    breeder_id TEXT    NOT NULL,
    case_id    TEXT    NOT NULL,
    flag_id    TEXT    NOT NULL CHECK (flag_id <> ''),
    code       TEXT    NOT NULL,
    level      INTEGER NOT NULL,
    text       TEXT    NOT NULL,
    opened_at  INTEGER NOT NULL,
    closed_at  INTEGER,
    history    TEXT    NOT NULL,
    PRIMARY KEY (breeder_id, case_id, flag_id),
    FOREIGN KEY (breeder_id, case_id) REFERENCES cases
) STRICT, WITHOUT ROWID;

-- By id alone: one keeper may have animals of several breeders.
CREATE TABLE keepers (
    keeper_id  TEXT    NOT NULL CHECK (keeper_id <> ''),
    name       TEXT    NOT NULL,
    created_at INTEGER NOT NULL,
    PRIMARY KEY (keeper_id)
) STRICT, WITHOUT ROWID;

CREATE TABLE photos (
    breeder_id  TEXT    NOT NULL,
    photo_id    TEXT    NOT NULL CHECK (photo_id <> ''),
    case_id     TEXT    NOT NULL,
    by_kind     TEXT    NOT NULL,
    by_id       TEXT    NOT NULL,
    hash        TEXT    NOT NULL,
    source      TEXT    NOT NULL,
    width       INTEGER NOT NULL,
    height      INTEGER NOT NULL,
    bytes       INTEGER NOT NULL,
    dark        INTEGER NOT NULL CHECK (dark IN (0, 1)),
    blurred     INTEGER NOT NULL CHECK (blurred IN (0, 1)),
    taken_at    INTEGER,
    received_at INTEGER NOT NULL,
    PRIMARY KEY (breeder_id, photo_id),
    FOREIGN KEY (breeder_id, case_id) REFERENCES cases
) STRICT, WITHOUT ROWID;
CREATE INDEX photos_of_case ON photos (breeder_id, case_id, received_at, photo_id);

-- By who asked, which is a breeder or a keeper.
CREATE TABLE answered (
    scope      TEXT    NOT NULL,
    request_id TEXT    NOT NULL CHECK (request_id <> ''),
    digest     TEXT    NOT NULL,
    answer     BLOB,
    at         INTEGER NOT NULL,
    PRIMARY KEY (scope, request_id)
) STRICT;
CREATE INDEX answered_by_age ON answered (at);

-- When people may be reminded and by what, and what each was told, so that nobody is
-- told twice. breeder_id is '' in the first two for a keeper.
CREATE TABLE reminder_hours (
    breeder_id  TEXT    NOT NULL,
    person_id   TEXT    NOT NULL,
    zone        TEXT    NOT NULL,
    quiet_from  INTEGER NOT NULL,
    quiet_until INTEGER NOT NULL,
    morning     INTEGER NOT NULL,
    digest_at   INTEGER NOT NULL,
    look_at     INTEGER NOT NULL,
    created_at  INTEGER NOT NULL,
    version     INTEGER NOT NULL,
    PRIMARY KEY (breeder_id, person_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX hours_to_look_at ON reminder_hours (look_at);
CREATE TABLE ways (
    way_id       TEXT    NOT NULL PRIMARY KEY,
    breeder_id   TEXT    NOT NULL,
    person_id    TEXT    NOT NULL,
    kind         TEXT    NOT NULL,
    address      TEXT    NOT NULL,
    key          BLOB,
    auth         BLOB,
    session_id   TEXT    NOT NULL,
    breeders     TEXT    NOT NULL,
    label        TEXT    NOT NULL,
    created_at   INTEGER NOT NULL,
    confirmed_at INTEGER,
    last_at      INTEGER,
    hold_until   INTEGER,
    trouble      TEXT    NOT NULL
) STRICT, WITHOUT ROWID;
CREATE INDEX ways_of ON ways (breeder_id, person_id);
CREATE INDEX ways_unconfirmed ON ways (created_at) WHERE confirmed_at IS NULL;
CREATE TABLE reminders (
    breeder_id TEXT    NOT NULL REFERENCES breeders,
    case_id    TEXT    NOT NULL,
    person_id  TEXT    NOT NULL,
    topic      TEXT    NOT NULL,
    way_id     TEXT    NOT NULL,
    state      TEXT    NOT NULL,
    tries      INTEGER NOT NULL,
    at         INTEGER NOT NULL,
    PRIMARY KEY (breeder_id, case_id, person_id, topic, way_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX reminders_by_time ON reminders (at);

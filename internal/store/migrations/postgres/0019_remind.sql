-- The twin of sqlite/0019_remind.sql: same tables, same columns, same order.
-- When people may be reminded and by what, and what each was told, so that nobody is
-- told twice. breeder_id is '' in the first two for a keeper.
CREATE TABLE reminder_hours (
    breeder_id TEXT COLLATE "C" NOT NULL,
    person_id TEXT COLLATE "C" NOT NULL,
    zone TEXT COLLATE "C" NOT NULL,
    quiet_from BIGINT NOT NULL,
    quiet_until BIGINT NOT NULL,
    morning BIGINT NOT NULL,
    digest_at BIGINT NOT NULL,
    look_at BIGINT NOT NULL,
    created_at BIGINT NOT NULL,
    version BIGINT NOT NULL,
    PRIMARY KEY (breeder_id, person_id)
);
CREATE INDEX hours_to_look_at ON reminder_hours (look_at);
CREATE TABLE ways (
    way_id TEXT COLLATE "C" NOT NULL PRIMARY KEY,
    breeder_id TEXT COLLATE "C" NOT NULL,
    person_id TEXT COLLATE "C" NOT NULL,
    kind TEXT COLLATE "C" NOT NULL,
    address TEXT COLLATE "C" NOT NULL,
    key BYTEA,
    auth BYTEA,
    session_id TEXT COLLATE "C" NOT NULL,
    breeders TEXT COLLATE "C" NOT NULL,
    label TEXT COLLATE "C" NOT NULL,
    created_at BIGINT NOT NULL,
    confirmed_at BIGINT,
    last_at BIGINT,
    hold_until BIGINT,
    trouble TEXT COLLATE "C" NOT NULL
);
CREATE INDEX ways_of ON ways (breeder_id, person_id);
CREATE INDEX ways_unconfirmed ON ways (created_at) WHERE confirmed_at IS NULL;
CREATE TABLE reminders (
    breeder_id TEXT COLLATE "C" NOT NULL REFERENCES breeders,
    case_id TEXT COLLATE "C" NOT NULL,
    person_id TEXT COLLATE "C" NOT NULL,
    topic TEXT COLLATE "C" NOT NULL,
    way_id TEXT COLLATE "C" NOT NULL,
    state TEXT COLLATE "C" NOT NULL,
    tries BIGINT NOT NULL,
    at BIGINT NOT NULL,
    PRIMARY KEY (breeder_id, case_id, person_id, topic, way_id)
);
CREATE INDEX reminders_by_time ON reminders (at);
-- As in 0017_reach.sql; what is a keeper's has no breeder.
DO $$
DECLARE t text;
        reach constant text := '(SELECT current_setting(''warmhand.breeder'', true))';
BEGIN
    FOREACH t IN ARRAY ARRAY['reminder_hours', 'ways', 'reminders'] LOOP
        EXECUTE format('ALTER TABLE %I ENABLE ROW LEVEL SECURITY', t);
        EXECUTE format('ALTER TABLE %I FORCE ROW LEVEL SECURITY', t);
        EXECUTE format('CREATE POLICY reach ON %I USING (breeder_id = %s OR %s = ''*'' OR breeder_id = '''')', t, reach, reach);
    END LOOP;
END $$;

-- The twin of sqlite/0012_triage.sql: same tables, same columns, same order.
-- What the triage list shows of a case besides its standing: who sees to it, until
-- when and why it is set aside, how it stood at the last look, who told and wrote
-- what last, and what is suggested next. Each case is looked at once a day, which fills in what is derived.
ALTER TABLE cases ADD COLUMN looked_after_by TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE cases ADD COLUMN aside_until BIGINT;
ALTER TABLE cases ADD COLUMN aside_at BIGINT;
ALTER TABLE cases ADD COLUMN aside_why TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE cases ADD COLUMN seen_as BIGINT NOT NULL DEFAULT 0;
ALTER TABLE cases ADD COLUMN wrote_at BIGINT;
ALTER TABLE cases ADD COLUMN told_at BIGINT;
ALTER TABLE cases ADD COLUMN answered_at BIGINT;
ALTER TABLE cases ADD COLUMN silent BIGINT NOT NULL DEFAULT 0 CHECK (silent IN (0, 1));
ALTER TABLE cases ADD COLUMN next_step TEXT COLLATE "C" NOT NULL DEFAULT '';
UPDATE cases SET seen_as = standing WHERE seen_at IS NOT NULL;

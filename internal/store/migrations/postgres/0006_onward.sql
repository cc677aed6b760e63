-- The twin of sqlite/0006_onward.sql: same tables, same columns, same order.
-- Of keepers who pass an animal on, or give it back.
ALTER TABLE handovers ADD COLUMN passed_from TEXT COLLATE "C" NOT NULL DEFAULT '';
ALTER TABLE cases ADD COLUMN earlier TEXT COLLATE "C" NOT NULL DEFAULT 'null';
ALTER TABLE cases ADD COLUMN give_back_at BIGINT;

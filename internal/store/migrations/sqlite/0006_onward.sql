-- Of keepers who pass an animal on, or give it back.
ALTER TABLE handovers ADD COLUMN passed_from TEXT NOT NULL DEFAULT '';
ALTER TABLE cases ADD COLUMN earlier TEXT NOT NULL DEFAULT 'null';
ALTER TABLE cases ADD COLUMN give_back_at INTEGER;

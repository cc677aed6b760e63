-- From when one of a breeder's people is told at once that a keeper wrote.
ALTER TABLE reminder_hours ADD COLUMN messages_since BIGINT;

-- The twin of sqlite/0014_looked.sql: same tables, same columns, same order.
-- When somebody of the breeder went past a photo in the review. What came in
-- before there was one counts as looked at.
ALTER TABLE photos ADD COLUMN looked_at BIGINT;
UPDATE photos SET looked_at = received_at;
CREATE INDEX photos_to_look_at ON photos (breeder_id, received_at, photo_id) WHERE looked_at IS NULL AND by_kind = 'keeper';

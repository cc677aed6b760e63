-- The twin of sqlite/0023_ahead.sql: same tables, same columns, same order.
-- What a case says on the days to come, so that it need not be looked at on each.
-- What was assessed before has none and stays due within a day.
ALTER TABLE cases ADD COLUMN ahead TEXT COLLATE "C";

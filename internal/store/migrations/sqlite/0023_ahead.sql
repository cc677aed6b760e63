-- What a case says on the days to come, so that it need not be looked at on each.
-- What was assessed before has none and stays due within a day.
ALTER TABLE cases ADD COLUMN ahead TEXT;

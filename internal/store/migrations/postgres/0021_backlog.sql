-- The twin of sqlite/0021_backlog.sql.
-- What the operator is shown of reminders is read off these, however many went.
CREATE INDEX reminders_open ON reminders (state, at) WHERE state <> 'sent';
CREATE INDEX ways_in_trouble ON ways (trouble) WHERE trouble <> '';

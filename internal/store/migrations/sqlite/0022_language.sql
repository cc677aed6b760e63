-- In which language each person is told what goes out without a request; '' while
-- nothing is known of it.
ALTER TABLE users ADD COLUMN language TEXT NOT NULL DEFAULT '';
ALTER TABLE keepers ADD COLUMN language TEXT NOT NULL DEFAULT '';

-- In the order in which the pass takes them: a day on which very many fall due
-- at once is read off the index and not sorted for each page.
DROP INDEX cases_due;
CREATE INDEX cases_due ON cases (due_at, breeder_id, case_id) WHERE open = 1;

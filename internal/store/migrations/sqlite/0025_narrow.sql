-- An animal has few cases: to sort these costs less than to move each in an index whenever
-- its urgency changes, which is with every log.
DROP INDEX cases_of_animal;
CREATE INDEX cases_of_animal ON cases (breeder_id, animal_id);

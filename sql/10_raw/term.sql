-- one row a normalised word
-- key:        list, term
-- written by: pipeline/load/stage.py, replaced as a whole
create table if not exists term (
    list varchar not null,              -- kind, complaint, finding, cause, part, outcome, make
    term varchar not null,              -- the word every spelling of it becomes
    origin varchar not null             -- shipped, workshop list, review, own
);

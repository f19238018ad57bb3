-- one row a written word or cell and what it became
-- key:        list, written
-- written by: pipeline/load/stage.py, replaced as a whole
create table if not exists word_use (
    list varchar not null,              -- kind, complaint, finding, cause, part, outcome, make
    written varchar not null,           -- a whole cell for coded columns, a word or phrase for free text
    term varchar,                       -- what it became; null = not understood
    uses bigint not null,               -- visits in which it stands
    example varchar                     -- one text it stands in
);

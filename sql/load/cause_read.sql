-- one row a written cause of a kind
-- key:        written, kind
-- written by: pipeline/load/stage.py
-- is_none:    the words say that no fault was found
create or replace temp table cause_read (
    written varchar,
    kind varchar,
    term varchar,
    is_understood boolean,
    is_doubtful boolean,
    is_none boolean
);

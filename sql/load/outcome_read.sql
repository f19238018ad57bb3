-- one row a written outcome
-- key:        written
-- written by: pipeline/load/stage.py
create or replace temp table outcome_read (
    written varchar,
    term varchar,
    is_understood boolean
);

-- one row a duration as written where a bare number means a unit
-- key:        written, unit
-- written by: pipeline/load/stage.py
-- minutes:    null = not a duration
create or replace temp table minutes_read (
    written varchar,
    unit varchar,
    minutes double
);

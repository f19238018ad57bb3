-- one row an age as written at a visit of a day
-- key:        written, day
-- written by: pipeline/load/stage.py
-- years:      null = not an age
create or replace temp table age_read (
    written varchar,
    day date,
    years double
);

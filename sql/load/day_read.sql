-- one row a written day of a visit
-- key:        written
-- written by: pipeline/load/column_reading.py
-- day:        null = none could be read
-- problem:    why not; null = none
-- remedy:     what to do about it; null = nothing
create or replace temp table day_read (
    written varchar,
    day date,
    problem varchar,
    remedy varchar
);

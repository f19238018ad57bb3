-- one row a written make
-- key:        written
-- written by: pipeline/load/stage.py
create or replace temp table make_read (
    written varchar,
    term varchar,
    is_understood boolean
);

-- one row a written kind of appliance
-- key:        written
-- written by: pipeline/load/stage.py
create or replace temp table kind_read (
    written varchar,
    term varchar,
    is_understood boolean
);

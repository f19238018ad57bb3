-- one row a written serial number
-- key:        written
-- written by: pipeline/load/screen.py
-- serial:     made comparable; null = says nothing
create or replace temp table serial_read (
    written varchar,
    serial varchar
);

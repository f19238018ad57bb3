-- one row a cell of a column that the layout or its name calls personal
-- key:        written
-- written by: pipeline/load/screen.py
-- hashed:     keyed with the workshop's own key
create or replace temp table personal_hash (
    written varchar,
    hashed varchar
);

-- one row a written technician, where technicians are kept as hashes
-- key:        written
-- written by: pipeline/load/screen.py
-- hashed:     keyed with the workshop's own key
create or replace temp table technician_hash (
    written varchar,
    hashed varchar
);

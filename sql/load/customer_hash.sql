-- one row a written customer
-- key:        written
-- written by: pipeline/load/screen.py
-- hashed:     keyed with the workshop's own key
create or replace temp table customer_hash (
    written varchar,
    hashed varchar
);

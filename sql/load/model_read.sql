-- one row a written model
-- key:        written
-- written by: pipeline/load/stage.py
create or replace temp table model_read (
    written varchar,
    model varchar,
    family varchar
);

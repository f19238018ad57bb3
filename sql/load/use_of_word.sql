-- one row a written word of a list and what was read at once: how often it stands in this load's texts
-- key:        none
-- written by: pipeline/load/stage.py
-- term:       what it was read as; null = not understood
create or replace temp table use_of_word (
    list varchar,
    written varchar,
    term varchar,
    uses bigint,
    example varchar
);

-- one row an amount as written in a field with a decimal mark
-- key:        field, written, mark
-- written by: pipeline/load/stage.py
-- amount:     null = not an amount
-- currency:   as written beside it; null = none is
create or replace temp table money_read (
    field varchar,
    written varchar,
    mark varchar,
    amount double,
    currency varchar
);

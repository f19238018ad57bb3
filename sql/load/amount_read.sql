-- one row a quantity or unit price of an invoice line as written
-- key:        none
-- written by: pipeline/load/shape.py
-- amount:     null = not a number
create or replace temp table amount_read (
    written varchar,
    amount double
);

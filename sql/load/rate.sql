-- one row a currency, or sign of one, whose amounts are converted
-- key:        written
-- written by: pipeline/load/stage.py
-- rate:       what one unit is worth in the workshop's money
create or replace temp table rate (
    written varchar,
    rate double
);

-- one row an amount as written that is in a currency without a rate
-- key:        written
-- written by: pipeline/load/currency.py
-- currency:   the currency, or its sign
create or replace temp table foreign_money (
    written varchar,
    currency varchar
);

-- one row: the workshop's settings, used by the core and the marts
-- key:        none, one row
-- written by: pipeline/settings.py
create table if not exists setting (
    window_days integer not null,       -- callback window W of a first-time fix, days
    waiting_days integer not null,      -- how long an uncured visit waits for its next visit, days
    hour_rate double not null,          -- labour, money an hour
    trip_cost double not null,          -- one further trip, money
    trip_minutes double not null,       -- one further trip, minutes
    currency varchar not null,          -- of all money
    as_of date,                         -- end of follow-up; null = the last visit date loaded
    wrong_labour_billed boolean default false -- labour of parts that were not the cause is paid by the customer
);

-- must hold: there is one row of settings at most
select count(*) as rows_found
from setting
having count(*) > 1;

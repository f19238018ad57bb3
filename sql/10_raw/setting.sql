-- one row: the workshop's settings, used by the core and the marts
-- written by: pipeline/settings.py
create table if not exists setting (
    window_days integer not null,       -- callback window W of a first-time fix
    waiting_days integer not null,      -- how long an uncured visit waits for its next visit
    hour_rate double not null,          -- labour, money an hour
    trip_cost double not null,          -- one further trip, money
    trip_minutes double not null,       -- one further trip, minutes
    currency varchar not null,
    as_of date                          -- end of follow-up; null = the last visit date loaded
);

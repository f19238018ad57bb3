-- one row: the settings in force, with the end of follow-up made definite
-- key:        none, one row
-- reads:      setting, stage_visit
-- as_of:      the day up to which visits are known: the setting, else the last visit date loaded; later visits are left out
-- named_days: how far back a job number may reach (callback_of, or the same job_no), days; job numbers are reused after that
create or replace table follow_up as
select
    coalesce(setting.as_of, (select max(visit_date) from stage_visit)) as as_of,
    setting.window_days as window_days,
    setting.waiting_days as waiting_days,
    greatest(365, setting.waiting_days) as named_days,
    setting.hour_rate as hour_rate,
    setting.trip_cost as trip_cost,
    setting.trip_minutes as trip_minutes,
    setting.currency as currency,
    coalesce(setting.wrong_labour_billed, false) as wrong_labour_billed
from setting;

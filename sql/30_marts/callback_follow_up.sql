-- one row a visit that ended with a fix: time to a return, to a new fault, or to the end of follow-up
-- key:             visit_id
-- reads:           after_fix, follow_up
-- days:            days from the fix to the event, or to the end of follow-up
-- days_followed:   days from the fix to the end of follow-up
-- A view: what depends on the day is worked out when it is read.
create or replace view callback_follow_up as
select
    after_fix.visit_id as visit_id,
    after_fix.episode_id as episode_id,
    after_fix.fix_date as fix_date,
    after_fix.kind as kind,
    after_fix.make as make,
    after_fix.technician as technician,
    after_fix.branch as branch,
    after_fix.main_symptom as main_symptom,
    datediff('day', after_fix.fix_date, coalesce(after_fix.event_date, follow_up.as_of)) as days,
    after_fix.event as event,
    after_fix.is_late_return as is_late_return,
    after_fix.return_visit_id as return_visit_id,
    after_fix.days_to_return as days_to_return,
    datediff('day', after_fix.fix_date, follow_up.as_of) as days_followed
from after_fix
cross join follow_up;

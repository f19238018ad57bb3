-- one row an episode: was it fixed at the first visit
-- key:            episode_id
-- reads:          first_visit_end, follow_up
-- month:          first day of the month of the first attended visit
-- status:         fixed first time: that visit fixed it and window_days passed without a return;
--                 not fixed first time: it was not fixed then, or a visit of the same episode came within window_days;
--                 not yet known: fixed, no return so far, window_days not over; not counted: see why
-- why:            what decides the status
-- days_followed:  days from the first attended visit to the end of follow-up
-- A view: what depends on the day is worked out when it is read.
create or replace view first_time_fix as
with
    judged as (
        select
            first_visit_end.*,
            datediff('day', first_visit_end.visit_date, follow_up.as_of) as days_followed,
            case
                when first_visit_end.why_not_fixed is not null then first_visit_end.why_not_fixed
                when first_visit_end.days_to_return <= follow_up.window_days then 'came back within the window'
                when datediff('day', first_visit_end.visit_date, follow_up.as_of) < follow_up.window_days then 'window not over'
                else 'no return within the window'
            end as why
        from first_visit_end
        cross join follow_up
    )
select
    judged.episode_id as episode_id,
    cast(date_trunc('month', judged.visit_date) as date) as month,
    judged.kind as kind,
    judged.make as make,
    judged.model_family as model_family,
    judged.technician as technician,
    judged.branch as branch,
    judged.main_symptom as main_symptom,
    judged.cause as cause,
    case
        when judged.why in (
            'the first visit returns to a job that is not loaded', 'no access', 'declined', 'advice only', 'no outcome recorded'
        ) then 'not counted'
        when judged.why = 'no return within the window' then 'fixed first time'
        when judged.why = 'window not over' then 'not yet known'
        else 'not fixed first time'
    end as status,
    judged.why as why,
    judged.days_to_return as days_to_return,
    judged.days_followed as days_followed
from judged;

-- must hold: nothing is called fixed before its window is over
select first_time_fix.episode_id, first_time_fix.days_followed, first_time_fix.days_to_return
from first_time_fix
cross join follow_up
where first_time_fix.status = 'fixed first time'
    and (
        first_time_fix.days_followed < follow_up.window_days
        or first_time_fix.days_to_return <= follow_up.window_days
    );

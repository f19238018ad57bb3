-- one row an episode: one fault on one unit, from its first visit to its cure
-- key:               episode_id
-- reads:             episode_course, follow_up
-- days_followed:     days from the last visit to the end of follow-up
-- is_mature:         the follow-up window is over (an open episode: the waiting time)
-- A view: what depends on the day is worked out when it is read.
create or replace view episode as
select
    episode_course.episode_id as episode_id,
    episode_course.appliance_id as appliance_id,
    episode_course.kind as kind,
    episode_course.make as make,
    episode_course.model as model,
    episode_course.model_family as model_family,
    episode_course.age_years as age_years,
    episode_course.age_band as age_band,
    episode_course.main_symptom as main_symptom,
    episode_course.fault_code as fault_code,
    episode_course.first_visit_date as first_visit_date,
    episode_course.last_visit_date as last_visit_date,
    episode_course.cure_visit_id as cure_visit_id,
    episode_course.cure_date as cure_date,
    episode_course.cause as cause,
    episode_course.state as state,
    episode_course.visits as visits,
    episode_course.is_left_truncated as is_left_truncated,
    datediff('day', episode_course.last_visit_date, follow_up.as_of) as days_followed,
    datediff('day', episode_course.last_visit_date, follow_up.as_of)
        >= case when episode_course.state = 'open' then follow_up.waiting_days else follow_up.window_days end as is_mature,
    episode_course.first_technician as first_technician,
    episode_course.labour_minutes as labour_minutes,
    episode_course.labour_charge as labour_charge,
    episode_course.parts_cost as parts_cost
from episode_course
cross join follow_up;

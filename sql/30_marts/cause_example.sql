-- one row a cured episode, follow-up over, with its confirmed cause: what a cause model learns from
-- key:              episode_id
-- reads:            cured_cause, follow_up
-- A view: what depends on the day is worked out when it is read.
create or replace view cause_example as
select
    cured_cause.episode_id as episode_id,
    cured_cause.kind as kind,
    cured_cause.make as make,
    cured_cause.model_family as model_family,
    cured_cause.age_years as age_years,
    cured_cause.symptoms as symptoms,
    cured_cause.codes as codes,
    cured_cause.findings as findings,
    cured_cause.complaint as complaint,
    cured_cause.cause as cause,
    cured_cause.cure_date as cure_date,
    cured_cause.first_visit_date as first_visit_date,
    cured_cause.visits as visits,
    cured_cause.labour_minutes as labour_minutes,
    cured_cause.labour_charge as labour_charge,
    cured_cause.parts_cost as parts_cost,
    cured_cause.job_no as job_no
from cured_cause
cross join follow_up
where datediff('day', cured_cause.cure_date, follow_up.as_of) >= follow_up.window_days;

-- must hold: the follow-up of an example is over
select cause_example.episode_id
from cause_example
left join episode on episode.episode_id = cause_example.episode_id
where not coalesce(episode.is_mature, false);

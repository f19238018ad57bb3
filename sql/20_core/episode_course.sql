-- one row an episode: one fault on one unit, from its first visit to its cure, as its visits tell it whatever the day
-- key:               episode_id
-- reads:             visit, visit_result, visit_appliance, episode_symptom
-- changes by:        episode_id
-- kind:              as on the first visit (so are make, model, model_family and first_technician)
-- age_years:         age of the appliance at the first visit, years; null = not known
-- age_band:          under 2, 2 to 4, 5 to 7, 8 to 11, 12 and over, not known (years)
-- first_visit_date:  day of the first visit
-- last_visit_date:   day of the last visit
-- cure_visit_id:     the last visit, if it ended with a fix; null = not cured
-- cure_date:         its day
-- cause:             confirmed at the visit that ended the first complaint, or before it with no attempt to repair in between; null = none
-- state:             cured, no fault found, beyond economic repair, declined, no access, advice only, open
-- visits:            number of visits
-- is_left_truncated: the first visit returns to a job that is not loaded: the beginning is missing, so it is not counted
-- first_technician:  who made the first visit
-- labour_minutes:    sum over the visits, minutes; null = none recorded
-- labour_charge:     sum over the visits, money; null = none recorded
-- parts_cost:        sum over the visits, money; null = none recorded
create or replace table episode_course as
with
    -- most episodes are one visit: only what later visits add is gathered
    later_visit as (
        select
            visit_result.episode_id as episode_id,
            visit_result.is_last as is_last,
            visit_result.confirmed_cause as confirmed_cause,
            visit.visit_id as visit_id,
            visit.visit_date as visit_date,
            visit.outcome as outcome,
            visit.labour_minutes as labour_minutes,
            visit.labour_charge as labour_charge,
            visit.parts_cost as parts_cost
        from visit_result
        inner join visit on visit.visit_id = visit_result.visit_id
        where visit_result.visit_no > 1
    ),
    later as (
        select
            episode_id,
            max(visit_date) as last_visit_date,
            count(*) as visits,
            max(case when is_last then visit_id end) as last_visit_id,
            max(case when is_last then outcome end) as last_outcome,
            max(case when is_last then confirmed_cause end) as last_cause,
            min(case when outcome = 'no access' then 1 else 0 end) as is_never_seen,
            sum(labour_minutes) as labour_minutes,
            sum(labour_charge) as labour_charge,
            sum(parts_cost) as parts_cost
        from later_visit
        group by episode_id
    ),
    stated as (
        select
            first_visit.visit_id as visit_id,
            first_visit.visit_date as visit_date,
            first_visit.appliance_id as appliance_id,
            first_visit.kind as kind,
            first_visit.make as make,
            first_visit.model as model,
            first_visit.model_family as model_family,
            first_visit.age_years as age_years,
            first_visit.technician as technician,
            coalesce(first_visit.labour_minutes + later.labour_minutes, first_visit.labour_minutes, later.labour_minutes)
                as labour_minutes,
            coalesce(first_visit.labour_charge + later.labour_charge, first_visit.labour_charge, later.labour_charge)
                as labour_charge,
            coalesce(first_visit.parts_cost + later.parts_cost, first_visit.parts_cost, later.parts_cost) as parts_cost,
            1 + coalesce(later.visits, 0) as visits,
            coalesce(later.last_visit_date, first_visit.visit_date) as last_visit_date,
            coalesce(later.last_visit_id, first_visit.visit_id) as last_visit_id,
            case
                when first_result.ended_by_visit_id = first_visit.visit_id then first_result.confirmed_cause
                when first_result.ended_by_visit_id is not null then ending.confirmed_cause
                when later.visits is null then first_result.confirmed_cause
                else later.last_cause
            end as cause,
            case
                when coalesce(later.last_outcome, first_visit.outcome) = 'fixed' then 'cured'
                when coalesce(later.last_outcome, first_visit.outcome)
                    in ('no fault found', 'beyond economic repair', 'declined', 'advice only')
                    then coalesce(later.last_outcome, first_visit.outcome)
                when first_visit.outcome = 'no access' and coalesce(later.is_never_seen, 1) = 1 then 'no access'
                else 'open'
            end as state
        from visit_result as first_result
        inner join visit as first_visit on first_visit.visit_id = first_result.visit_id
        left join later on later.episode_id = first_result.episode_id
        left join later_visit as ending on ending.visit_id = first_result.ended_by_visit_id
        where first_result.visit_no = 1
    ),
    truncated as (
        select visit_id
        from visit_appliance
        where names_missing_job
    )
select
    stated.visit_id as episode_id,
    stated.appliance_id as appliance_id,
    stated.kind as kind,
    stated.make as make,
    stated.model as model,
    stated.model_family as model_family,
    stated.age_years as age_years,
    case
        when stated.age_years is null then 'not known'
        when stated.age_years < 2 then 'under 2'
        when stated.age_years < 5 then '2 to 4'
        when stated.age_years < 8 then '5 to 7'
        when stated.age_years < 12 then '8 to 11'
        else '12 and over'
    end as age_band,
    episode_symptom.main_symptom as main_symptom,
    episode_symptom.fault_code as fault_code,
    stated.visit_date as first_visit_date,
    stated.last_visit_date as last_visit_date,
    case when stated.state = 'cured' then stated.last_visit_id end as cure_visit_id,
    case when stated.state = 'cured' then stated.last_visit_date end as cure_date,
    stated.cause as cause,
    stated.state as state,
    stated.visits as visits,
    truncated.visit_id is not null as is_left_truncated,
    stated.technician as first_technician,
    stated.labour_minutes as labour_minutes,
    stated.labour_charge as labour_charge,
    stated.parts_cost as parts_cost
from stated
left join episode_symptom on episode_symptom.episode_id = stated.visit_id
left join truncated on truncated.visit_id = stated.visit_id;

-- must hold: episode_id is unique and the episodes' visits add up to all visits
select visits_in_episodes, visits_loaded
from
    (select coalesce(sum(visits), 0) as visits_in_episodes, count(*) - count(distinct episode_id) as doubles from episode_course) as counted
cross join (select count(*) as visits_loaded from visit) as loaded
where visits_in_episodes <> visits_loaded or doubles <> 0;

-- must hold: a cured episode, and no other, has a visit that cured it, on the day stated
select episode_course.episode_id, episode_course.state, episode_course.cure_visit_id
from episode_course
left join visit on visit.visit_id = episode_course.cure_visit_id
where (episode_course.state = 'cured') is distinct from (visit.outcome is not distinct from 'fixed')
    or episode_course.cure_date is distinct from visit.visit_date;

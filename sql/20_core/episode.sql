-- one row an episode: one fault on one unit, from its first visit to its cure
-- key:               episode_id
-- reads:             episode_visit, visit, visit_result, visit_symptom, follow_up
-- kind:              as on the first visit (so are make, model, model_family and first_technician)
-- age_years:         age of the appliance at the first visit, years; null = not known
-- age_band:          under 2, 2 to 4, 5 to 7, 8 to 11, 12 and over, not known (years)
-- main_symptom:      complaint of the first visit that has one, sure before doubtful, "lamps or code shown" only if nothing else; null = none told
-- fault_code:        code of the first visit that has one; null = none shown
-- first_visit_date:  day of the first visit
-- last_visit_date:   day of the last visit
-- cure_visit_id:     the last visit, if it ended with a fix; null = not cured
-- cure_date:         its day
-- cause:             confirmed at the visit that ended the first complaint, or before it with no attempt to repair in between; null = none
-- state:             cured, no fault found, beyond economic repair, declined, no access, advice only, open
-- visits:            number of visits
-- is_left_truncated: the first visit returns to a job that is not loaded: the beginning is missing, so it is not counted
-- days_followed:     days from the last visit to the end of follow-up
-- is_mature:         the follow-up window is over (an open episode: the waiting time)
-- first_technician:  who made the first visit
-- labour_minutes:    sum over the visits, minutes; null = none recorded
-- labour_charge:     sum over the visits, money; null = none recorded
-- parts_cost:        sum over the visits, money; null = none recorded
create or replace table episode as
with
    summed as (
        select
            visit_result.episode_id as episode_id,
            min(visit.visit_date) as first_visit_date,
            max(visit.visit_date) as last_visit_date,
            count(*) as visits,
            max(case when visit_result.is_last then visit.visit_id end) as last_visit_id,
            max(case when visit_result.is_last then visit.outcome end) as last_outcome,
            max(case when visit_result.is_last then visit_result.confirmed_cause end) as last_cause,
            max(case when visit_result.visit_no = 1 then visit_result.ended_by_visit_id end) as ended_by_visit_id,
            min(case when visit.outcome = 'no access' then 1 else 0 end) as is_never_seen,
            sum(visit.labour_minutes) as labour_minutes,
            sum(visit.labour_charge) as labour_charge,
            sum(visit.parts_cost) as parts_cost
        from visit_result
        inner join visit on visit.visit_id = visit_result.visit_id
        group by visit_result.episode_id
    ),
    told as (
        select
            episode_visit.episode_id as episode_id,
            visit_symptom.source as source,
            visit_symptom.symptom as symptom,
            row_number() over (
                partition by episode_visit.episode_id, visit_symptom.source
                order by
                    case when visit_symptom.symptom_group = 'display' then 1 else 0 end,
                    episode_visit.visit_no,
                    case when visit_symptom.is_doubtful then 1 else 0 end,
                    visit_symptom.symptom
            ) as place
        from visit_symptom
        inner join episode_visit on episode_visit.visit_id = visit_symptom.visit_id
        where not visit_symptom.is_negated
    ),
    main as (
        select
            episode_id,
            max(case when source = 'complaint' then symptom end) as main_symptom,
            max(case when source = 'code' then symptom end) as fault_code
        from told
        where place = 1
        group by episode_id
    ),
    stated as (
        select
            summed.*,
            case
                when summed.last_outcome = 'fixed' then 'cured'
                when summed.last_outcome in ('no fault found', 'beyond economic repair', 'declined', 'advice only')
                    then summed.last_outcome
                when summed.is_never_seen = 1 then 'no access'
                else 'open'
            end as state,
            datediff('day', summed.last_visit_date, follow_up.as_of) as days_followed,
            follow_up.window_days as window_days,
            follow_up.waiting_days as waiting_days
        from summed
        cross join follow_up
    ),
    loaded_job as (
        select distinct kind, job_no
        from visit
        where job_no is not null
    )
select
    stated.episode_id as episode_id,
    first_visit.appliance_id as appliance_id,
    first_visit.kind as kind,
    first_visit.make as make,
    first_visit.model as model,
    first_visit.model_family as model_family,
    first_visit.age_years as age_years,
    case
        when first_visit.age_years is null then 'not known'
        when first_visit.age_years < 2 then 'under 2'
        when first_visit.age_years < 5 then '2 to 4'
        when first_visit.age_years < 8 then '5 to 7'
        when first_visit.age_years < 12 then '8 to 11'
        else '12 and over'
    end as age_band,
    main.main_symptom as main_symptom,
    main.fault_code as fault_code,
    stated.first_visit_date as first_visit_date,
    stated.last_visit_date as last_visit_date,
    case when stated.state = 'cured' then stated.last_visit_id end as cure_visit_id,
    case when stated.state = 'cured' then stated.last_visit_date end as cure_date,
    case
        when stated.ended_by_visit_id is null then stated.last_cause
        else ending.confirmed_cause
    end as cause,
    stated.state as state,
    stated.visits as visits,
    first_visit.callback_of is not null
        and first_visit.callback_of is distinct from first_visit.job_no
        and loaded_job.job_no is null as is_left_truncated,
    stated.days_followed as days_followed,
    stated.days_followed >= case when stated.state = 'open' then stated.waiting_days else stated.window_days end
        as is_mature,
    first_visit.technician as first_technician,
    stated.labour_minutes as labour_minutes,
    stated.labour_charge as labour_charge,
    stated.parts_cost as parts_cost
from stated
inner join visit as first_visit on first_visit.visit_id = stated.episode_id
left join visit_result as ending on ending.visit_id = stated.ended_by_visit_id
left join main on main.episode_id = stated.episode_id
left join loaded_job
    on loaded_job.kind = first_visit.kind
    and loaded_job.job_no = first_visit.callback_of;

-- must hold: episode_id is unique and the episodes' visits add up to all visits
select visits_in_episodes, visits_loaded
from
    (select coalesce(sum(visits), 0) as visits_in_episodes, count(*) - count(distinct episode_id) as doubles from episode) as counted
cross join (select count(*) as visits_loaded from visit) as loaded
where visits_in_episodes <> visits_loaded or doubles <> 0;

-- must hold: a cured episode, and no other, has a visit that cured it, on the day stated
select episode.episode_id, episode.state, episode.cure_visit_id
from episode
left join visit on visit.visit_id = episode.cure_visit_id
where (episode.state = 'cured') is distinct from (visit.outcome is not distinct from 'fixed')
    or episode.cure_date is distinct from visit.visit_date;

-- one row an episode: how its first attended visit ended, and when the next one came
-- key:            episode_id
-- reads:          episode_course, episode_visit, visit
-- changes by:     episode_id
-- visit_date:     day of the first attended visit (visits without access are passed over)
-- technician:     who made the first attended visit; null = not recorded
-- branch:         whose job that visit was; null = not recorded
-- why_not_fixed:  what keeps it from being a first-time fix, whatever comes after; null = that visit fixed it
-- days_to_return: days from the first attended visit to the episode's next visit; null = none so far
create or replace table first_visit_end as
with
    again as (
        select episode_id
        from episode_visit
        where visit_no = 2
    ),
    visited as (
        select
            episode_visit.episode_id as episode_id,
            episode_visit.visit_no as visit_no,
            visit.visit_date as visit_date,
            visit.outcome as outcome,
            visit.technician as technician,
            visit.branch as branch,
            again.episode_id is not null as has_several
        from episode_visit
        inner join visit on visit.visit_id = episode_visit.visit_id
        left join again on again.episode_id = episode_visit.episode_id
    ),
    attended as (
        select
            episode_id,
            visit_date,
            outcome,
            technician,
            branch,
            lead(visit_date) over (partition by episode_id order by visit_no) as next_date,
            row_number() over (
                partition by episode_id order by case when outcome = 'no access' then 1 else 0 end, visit_no
            ) as place
        from visited
        where has_several
        union all
        select episode_id, visit_date, outcome, technician, branch, cast(null as date) as next_date, 1 as place
        from visited
        where not has_several
    ),
    timed as (
        select
            attended.episode_id as episode_id,
            attended.visit_date as visit_date,
            attended.outcome as outcome,
            attended.technician as technician,
            attended.branch as branch,
            datediff('day', attended.visit_date, attended.next_date) as days_to_return
        from attended
        where attended.place = 1
    ),
    judged as (
        select
            timed.episode_id as episode_id,
            timed.visit_date as visit_date,
            timed.technician as technician,
            timed.branch as branch,
            timed.days_to_return as days_to_return,
            episode_course.kind as kind,
            episode_course.make as make,
            episode_course.model_family as model_family,
            episode_course.main_symptom as main_symptom,
            episode_course.cause as cause,
            case
                when episode_course.is_left_truncated then 'the first visit returns to a job that is not loaded'
                when timed.outcome = 'no access' then 'no access'
                when timed.outcome = 'declined' then 'declined'
                when timed.outcome = 'advice only' then 'advice only'
                when timed.outcome = 'unknown' then 'no outcome recorded'
                when timed.outcome <> 'fixed' then 'first visit ended: ' || timed.outcome
            end as why_not_fixed
        from timed
        inner join episode_course on episode_course.episode_id = timed.episode_id
    )
select
    judged.episode_id as episode_id,
    judged.visit_date as visit_date,
    judged.kind as kind,
    judged.make as make,
    judged.model_family as model_family,
    judged.technician as technician,
    judged.branch as branch,
    judged.main_symptom as main_symptom,
    judged.cause as cause,
    judged.why_not_fixed as why_not_fixed,
    judged.days_to_return as days_to_return
from judged;

-- must hold: every episode is judged once
select episode_course.episode_id
from episode_course
left join first_visit_end on first_visit_end.episode_id = episode_course.episode_id
group by episode_course.episode_id
having count(first_visit_end.episode_id) <> 1;

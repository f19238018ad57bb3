-- one row an episode: was it fixed at the first visit
-- key:            episode_id
-- reads:          episode, episode_visit, visit, follow_up
-- month:          first day of the month of the first attended visit (visits without access are passed over)
-- technician:     who made the first attended visit; null = not recorded
-- branch:         whose job that visit was; null = not recorded
-- status:         fixed first time: that visit fixed it and window_days passed without a return;
--                 not fixed first time: it was not fixed then, or a visit of the same episode came within window_days;
--                 not yet known: fixed, no return so far, window_days not over; not counted: see why
-- why:            what decides the status
-- days_to_return: days from the first attended visit to the episode's next visit; null = none so far
-- days_followed:  days from the first attended visit to the end of follow-up
create or replace table first_time_fix as
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
            datediff('day', attended.visit_date, attended.next_date) as days_to_return,
            datediff('day', attended.visit_date, follow_up.as_of) as days_followed,
            follow_up.window_days as window_days
        from attended
        cross join follow_up
        where attended.place = 1
    ),
    judged as (
        select
            timed.episode_id as episode_id,
            timed.visit_date as visit_date,
            timed.technician as technician,
            timed.branch as branch,
            timed.days_to_return as days_to_return,
            timed.days_followed as days_followed,
            episode.kind as kind,
            episode.make as make,
            episode.model_family as model_family,
            episode.main_symptom as main_symptom,
            episode.cause as cause,
            case
                when episode.is_left_truncated then 'the first visit returns to a job that is not loaded'
                when timed.outcome = 'no access' then 'no access'
                when timed.outcome = 'declined' then 'declined'
                when timed.outcome = 'advice only' then 'advice only'
                when timed.outcome = 'unknown' then 'no outcome recorded'
                when timed.outcome <> 'fixed' then 'first visit ended: ' || timed.outcome
                when timed.days_to_return <= timed.window_days then 'came back within the window'
                when timed.days_followed < timed.window_days then 'window not over'
                else 'no return within the window'
            end as why
        from timed
        inner join episode on episode.episode_id = timed.episode_id
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

-- must hold: every episode is judged once
select episode.episode_id
from episode
left join first_time_fix on first_time_fix.episode_id = episode.episode_id
group by episode.episode_id
having count(first_time_fix.episode_id) <> 1;

-- must hold: nothing is called fixed before its window is over
select first_time_fix.episode_id, first_time_fix.days_followed, first_time_fix.days_to_return
from first_time_fix
cross join follow_up
where first_time_fix.status = 'fixed first time'
    and (
        first_time_fix.days_followed < follow_up.window_days
        or first_time_fix.days_to_return <= follow_up.window_days
    );

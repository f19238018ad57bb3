-- one row a visit that ended with a fix: time to a return, to a new fault, or to the end of follow-up
-- key:             visit_id
-- reads:           visit_result, visit, episode, follow_up
-- fix_date:        day of the fix
-- days:            days from the fix to the event, or to the end of follow-up
-- event:           return: the episode's next visit; new fault: another episode on the unit began before it; none yet
-- return_visit_id: the visit of the event; null = none yet
-- days_to_return:  days from the fix to the episode's next visit, whether or not a new fault came first; null = none so far
-- days_followed:   days from the fix to the end of follow-up
create or replace table callback_follow_up as
with
    fix as (
        select
            visit_result.visit_id as visit_id,
            visit_result.episode_id as episode_id,
            visit.visit_date as fix_date,
            visit.visit_no_on_appliance as visit_no,
            visit.appliance_id as appliance_id,
            visit.technician as technician,
            visit_result.next_visit_id as next_visit_id,
            later.visit_no_on_appliance as next_no,
            later.visit_date as next_date
        from visit_result
        inner join visit on visit.visit_id = visit_result.visit_id
        left join visit as later on later.visit_id = visit_result.next_visit_id
        where visit_result.outcome = 'fixed'
    ),
    -- the unit's next new episode after each of its visits
    began as (
        select
            visit.visit_id as visit_id,
            first_value(case when visit_result.visit_no = 1 then visit.visit_id end ignore nulls) over later as fault_visit_id,
            first_value(case when visit_result.visit_no = 1 then visit.visit_no_on_appliance end ignore nulls)
                over later as fault_no,
            first_value(case when visit_result.visit_no = 1 then visit.visit_date end ignore nulls) over later as fault_date
        from visit
        inner join visit_result on visit_result.visit_id = visit.visit_id
        window later as (
            partition by visit.appliance_id order by visit.visit_no_on_appliance
            rows between 1 following and unbounded following
        )
    ),
    followed as (
        select
            fix.visit_id as visit_id,
            fix.episode_id as episode_id,
            fix.fix_date as fix_date,
            fix.technician as technician,
            case
                when began.fault_no is not null and (fix.next_no is null or began.fault_no < fix.next_no) then 'new fault'
                when fix.next_no is not null then 'return'
                else 'none yet'
            end as event,
            fix.next_visit_id as next_visit_id,
            fix.next_date as next_date,
            began.fault_visit_id as fault_visit_id,
            began.fault_date as fault_date
        from fix
        inner join began on began.visit_id = fix.visit_id
    )
select
    followed.visit_id as visit_id,
    followed.episode_id as episode_id,
    followed.fix_date as fix_date,
    episode.kind as kind,
    episode.make as make,
    followed.technician as technician,
    episode.main_symptom as main_symptom,
    datediff(
        'day',
        followed.fix_date,
        case
            when followed.event = 'return' then followed.next_date
            when followed.event = 'new fault' then followed.fault_date
            else follow_up.as_of
        end
    ) as days,
    followed.event as event,
    case
        when followed.event = 'return' then followed.next_visit_id
        when followed.event = 'new fault' then followed.fault_visit_id
    end as return_visit_id,
    datediff('day', followed.fix_date, followed.next_date) as days_to_return,
    datediff('day', followed.fix_date, follow_up.as_of) as days_followed
from followed
inner join episode on episode.episode_id = followed.episode_id
cross join follow_up;

-- must hold: every fix is followed once, and no time is negative
select visit_result.visit_id, min(callback_follow_up.days) as days
from visit_result
left join callback_follow_up on callback_follow_up.visit_id = visit_result.visit_id
where visit_result.outcome = 'fixed'
group by visit_result.visit_id
having count(callback_follow_up.visit_id) <> 1 or min(callback_follow_up.days) < 0;

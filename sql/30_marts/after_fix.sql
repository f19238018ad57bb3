-- one row a visit that ended with a fix: what came next on the unit
-- key:             visit_id
-- reads:           visit_result, visit, visit_on_appliance, visit_symptom, episode_visit, episode_course, follow_up
-- changes by:      visit_id
-- fix_date:        day of the fix
-- event:           return: the episode's next visit; new fault: another episode on the unit began before it; none yet
-- event_date:      its day; null = none yet
-- is_late_return:  the new fault began after window_days and within 90 days, and tells a complaint group that the episode told up to the fix:
--                  the same trouble may be back, too late to be joined
-- return_visit_id: the visit of the event; null = none yet
-- days_to_return:  days from the fix to the episode's next visit, whether or not a new fault came first; null = none so far
create or replace table after_fix as
with
    -- a unit visited once has nothing to wait for but the end of follow-up
    placed as (
        select
            visit_on_appliance.visit_id as visit_id,
            visit_on_appliance.appliance_id as appliance_id,
            visit_on_appliance.visit_no_on_appliance as visit_no,
            visit_result.visit_date as visit_date,
            visit_result.visit_no = 1 as is_new_fault
        from visit_on_appliance
        inner join (select appliance_id from visit_on_appliance where visit_no_on_appliance = 2) as seen_again
            on seen_again.appliance_id = visit_on_appliance.appliance_id
        inner join visit_result on visit_result.visit_id = visit_on_appliance.visit_id
    ),
    waiting as (
        select
            visit_id,
            appliance_id,
            min(case when is_new_fault then visit_no end) over (
                partition by appliance_id order by visit_no
                rows between 1 following and unbounded following
            ) as fault_no
        from placed
    ),
    later_fault as (
        select visit_id, appliance_id, visit_no, visit_date
        from placed
        where is_new_fault and visit_no > 1
    ),
    followed as (
        select
            visit_result.visit_id as visit_id,
            visit_result.episode_id as episode_id,
            visit_result.visit_date as fix_date,
            visit.technician as technician,
            visit.branch as branch,
            case
                when new_fault.visit_no is not null and (later.visit_no is null or new_fault.visit_no < later.visit_no)
                    then 'new fault'
                when later.visit_no is not null then 'return'
                else 'none yet'
            end as event,
            later.visit_id as next_visit_id,
            later.visit_date as next_date,
            new_fault.visit_id as fault_visit_id,
            new_fault.visit_date as fault_date
        from visit_result
        inner join visit on visit.visit_id = visit_result.visit_id
        left join placed as later on later.visit_id = visit_result.next_visit_id
        left join waiting on waiting.visit_id = visit_result.visit_id
        left join later_fault as new_fault
            on new_fault.appliance_id = waiting.appliance_id
            and new_fault.visit_no = waiting.fault_no
        where visit_result.outcome = 'fixed'
    ),
    late_fault as (
        select followed.visit_id as visit_id, followed.episode_id as episode_id, followed.fault_visit_id as fault_visit_id
        from followed
        cross join follow_up
        where followed.event = 'new fault'
            and datediff('day', followed.fix_date, followed.fault_date) > follow_up.window_days
            and datediff('day', followed.fix_date, followed.fault_date) <= 90
    ),
    complained as (
        select visit_id, symptom_group
        from visit_symptom
        where source = 'complaint' and symptom_group <> 'display' and not is_negated
    ),
    -- told both then and before; as an intersection no order of joins can make it large
    late as (
        select distinct visit_id
        from (
            select late_fault.visit_id as visit_id, complained.symptom_group as symptom_group
            from late_fault
            inner join complained on complained.visit_id = late_fault.fault_visit_id
            intersect
            select late_fault.visit_id as visit_id, complained.symptom_group as symptom_group
            from late_fault
            inner join episode_visit on episode_visit.episode_id = late_fault.episode_id
            inner join complained on complained.visit_id = episode_visit.visit_id
        ) as told_both
    )
select
    followed.visit_id as visit_id,
    followed.episode_id as episode_id,
    followed.fix_date as fix_date,
    episode_course.kind as kind,
    episode_course.make as make,
    followed.technician as technician,
    followed.branch as branch,
    episode_course.main_symptom as main_symptom,
    followed.event as event,
    case
        when followed.event = 'return' then followed.next_date
        when followed.event = 'new fault' then followed.fault_date
    end as event_date,
    late.visit_id is not null as is_late_return,
    case
        when followed.event = 'return' then followed.next_visit_id
        when followed.event = 'new fault' then followed.fault_visit_id
    end as return_visit_id,
    datediff('day', followed.fix_date, followed.next_date) as days_to_return
from followed
inner join episode_course on episode_course.episode_id = followed.episode_id
left join late on late.visit_id = followed.visit_id;

-- must hold: every fix is followed once, and nothing comes before it
select visit_result.visit_id, min(after_fix.event_date) as event_date
from visit_result
left join after_fix on after_fix.visit_id = visit_result.visit_id
where visit_result.outcome = 'fixed'
group by visit_result.visit_id
having count(after_fix.visit_id) <> 1 or min(after_fix.event_date) < min(after_fix.fix_date);

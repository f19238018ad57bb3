-- one row a visit: the episode it belongs to and how it came into it
-- key:        visit_id
-- reads:      visit, visit_symptom, stage_symptom, follow_up
-- changes by: visit_id
-- episode_id: visit_id of the first visit of one fault on one unit
-- visit_no:   1 for the episode's first visit
-- joined_by:  first visit; names the earlier job; same job number; says it is back; same complaint or code; earlier visit not a cure
-- A visit follows one earlier visit of its unit at most, the first of these that exists:
-- 1 the last one whose job it names (callback_of), within named_days;
-- 2 the last one under its own job number: within named_days if that was not a cure; within waiting_days after a cure, unless both tell a
--   complaint and share none (some give all calls of a customer one number);
-- 3 the one just before it, within the days of 4, if its complaint says no more than that the fault is back ("same again");
-- 4 the last one with the same complaint group or code, within window_days, or waiting_days if that found no fault or gave advice only;
-- 5 the one just before it, within waiting_days, if that leaves the fault open: not fixed, part needed, made safe, declined, no access.
-- A visit that tells no complaint ("return to fit part") tells that of the visit it follows by 1, 2, 3 or 5. Nothing follows across the
-- 512th, 1024th … visit of a unit: such a unit is a slip in the records, and its chain must end.
create or replace table episode_visit as
with recursive
    ordered as (
        select
            visit.visit_id as visit_id,
            visit.appliance_id as appliance_id,
            visit.visit_no_on_appliance as visit_no,
            visit.visit_date as visit_date,
            visit.job_no as job_no,
            visit.callback_of as callback_of,
            visit.outcome as outcome
        from visit
    ),
    -- a unit visited once has nothing to follow
    again as (
        select ordered.*
        from ordered
        inner join (select appliance_id from ordered where visit_no = 2) as seen_again
            on seen_again.appliance_id = ordered.appliance_id
    ),
    -- complaint groups and codes by number, for numbers are compared much sooner than texts
    subject as (
        select
            source,
            symptom_group,
            row_number() over (order by source, symptom_group) as subject_no
        from (select distinct source, symptom_group from visit_symptom where not is_negated) as told
    ),
    told_again as (
        select distinct
            again.visit_id as visit_id,
            subject.subject_no as subject_no,
            subject.symptom_group = 'display' as is_display,
            subject.source = 'complaint' as is_complaint
        from again
        inner join visit_symptom on visit_symptom.visit_id = again.visit_id
        inner join subject
            on subject.source = visit_symptom.source
            and subject.symptom_group = visit_symptom.symptom_group
        where not visit_symptom.is_negated
    ),
    -- that lamps or a code show says which fault it is only where nothing else is told
    told_here as (
        select
            told_again.visit_id as visit_id,
            told_again.subject_no as subject_no,
            told_again.is_complaint and not told_again.is_display as complains
        from told_again
        left join (select distinct visit_id from told_again where not is_display) as says_more
            on says_more.visit_id = told_again.visit_id
        where not told_again.is_display or says_more.visit_id is null
    ),
    complaining as (
        select distinct visit_id
        from told_here
        where complains
    ),
    shared_job as (
        select appliance_id, job_no
        from again
        where job_no is not null
        group by appliance_id, job_no
        having count(*) > 1
    ),
    one_before as (
        select
            again.visit_id as visit_id,
            earlier.visit_id as earlier_id,
            earlier.visit_no as earlier_no,
            again.visit_no as visit_no,
            datediff('day', earlier.visit_date, again.visit_date) as days,
            earlier.outcome as earlier_outcome
        from again
        inner join again as earlier
            on earlier.appliance_id = again.appliance_id
            and earlier.visit_no = again.visit_no - 1
    ),
    candidate as (
        select
            again.visit_id as visit_id,
            earlier.visit_id as earlier_id,
            earlier.visit_no as earlier_no,
            again.visit_no as visit_no,
            1 as rule,
            datediff('day', earlier.visit_date, again.visit_date) as days,
            earlier.outcome as earlier_outcome
        from again
        inner join again as earlier
            on earlier.appliance_id = again.appliance_id
            and earlier.job_no = again.callback_of
            and earlier.visit_no < again.visit_no
        union all
        select
            again.visit_id as visit_id,
            lag(again.visit_id) over job as earlier_id,
            lag(again.visit_no) over job as earlier_no,
            again.visit_no as visit_no,
            2 as rule,
            datediff('day', lag(again.visit_date) over job, again.visit_date) as days,
            lag(again.outcome) over job as earlier_outcome
        from again
        inner join shared_job
            on shared_job.appliance_id = again.appliance_id
            and shared_job.job_no = again.job_no
        window job as (partition by again.appliance_id, again.job_no order by again.visit_no)
        union all
        select
            one_before.visit_id as visit_id,
            one_before.earlier_id as earlier_id,
            one_before.earlier_no as earlier_no,
            one_before.visit_no as visit_no,
            5 as rule,
            one_before.days as days,
            one_before.earlier_outcome as earlier_outcome
        from one_before
        union all
        select
            one_before.visit_id as visit_id,
            one_before.earlier_id as earlier_id,
            one_before.earlier_no as earlier_no,
            one_before.visit_no as visit_no,
            3 as rule,
            one_before.days as days,
            one_before.earlier_outcome as earlier_outcome
        from one_before
        inner join (select distinct visit_id from stage_symptom where source = 'again') as says_back
            on says_back.visit_id = one_before.visit_id
    ),
    -- told both by the visit and by the earlier one; as an intersection no order of joins can make it large
    shares_complaint as (
        select distinct visit_id
        from (
            select candidate.visit_id as visit_id, told_here.subject_no as subject_no
            from candidate
            inner join told_here on told_here.visit_id = candidate.visit_id
            where candidate.rule = 2
            intersect
            select candidate.visit_id as visit_id, told_here.subject_no as subject_no
            from candidate
            inner join told_here on told_here.visit_id = candidate.earlier_id
            where candidate.rule = 2
        ) as told_by_both
    ),
    linked as (
        select
            candidate.visit_id as visit_id,
            candidate.earlier_id as earlier_id,
            candidate.rule as rule,
            row_number() over (
                partition by candidate.visit_id order by candidate.rule, candidate.earlier_no desc
            ) as choice
        from candidate
        cross join follow_up
        left join complaining as later on later.visit_id = candidate.visit_id
        left join complaining as earlier on earlier.visit_id = candidate.earlier_id
        left join shares_complaint on shares_complaint.visit_id = candidate.visit_id
        where candidate.earlier_id is not null
            and floor((candidate.earlier_no - 1) / 512) = floor((candidate.visit_no - 1) / 512)
            and candidate.days <= case
                when candidate.rule = 1 then follow_up.named_days
                when candidate.rule = 2 and candidate.earlier_outcome <> 'fixed' then follow_up.named_days
                when candidate.rule = 2
                    and (later.visit_id is null or earlier.visit_id is null or shares_complaint.visit_id is not null)
                    then follow_up.waiting_days
                when candidate.rule = 5
                    and candidate.earlier_outcome in ('not fixed', 'part needed', 'made safe', 'declined', 'no access')
                    then follow_up.waiting_days
                when candidate.rule = 3 and candidate.earlier_outcome in ('no fault found', 'advice only')
                    then greatest(follow_up.waiting_days, follow_up.window_days)
                when candidate.rule = 3 then follow_up.window_days
                else -1
            end
    ),
    told as (
        select visit_id, subject_no
        from told_here
        union all
        select linked.visit_id as visit_id, told_here.subject_no as subject_no
        from linked
        inner join told_here on told_here.visit_id = linked.earlier_id
        left join complaining on complaining.visit_id = linked.visit_id
        left join told_here as own
            on own.visit_id = linked.visit_id
            and own.subject_no = told_here.subject_no
        where linked.choice = 1 and complaining.visit_id is null and own.visit_id is null
    ),
    told_of_unit as (
        select
            again.visit_id as visit_id,
            again.visit_no as visit_no,
            again.visit_date as visit_date,
            again.outcome as outcome,
            again.appliance_id as appliance_id,
            told.subject_no as subject_no
        from told
        inner join again on again.visit_id = told.visit_id
    ),
    told_twice as (
        select appliance_id, subject_no
        from told_of_unit
        group by appliance_id, subject_no
        having count(*) > 1
    ),
    alike as (
        select
            told_of_unit.visit_id as visit_id,
            lag(told_of_unit.visit_id) over complaint as earlier_id,
            lag(told_of_unit.visit_no) over complaint as earlier_no,
            told_of_unit.visit_no as visit_no,
            datediff('day', lag(told_of_unit.visit_date) over complaint, told_of_unit.visit_date) as days,
            lag(told_of_unit.outcome) over complaint as earlier_outcome
        from told_of_unit
        inner join told_twice
            on told_twice.appliance_id = told_of_unit.appliance_id
            and told_twice.subject_no = told_of_unit.subject_no
        window complaint as (
            partition by told_of_unit.appliance_id, told_of_unit.subject_no
            order by told_of_unit.visit_no
        )
    ),
    allowed as (
        select visit_id, earlier_id, rule, 0 as earlier_no
        from linked
        where choice = 1
        union all
        select alike.visit_id as visit_id, alike.earlier_id as earlier_id, 4 as rule, alike.earlier_no as earlier_no
        from alike
        cross join follow_up
        where alike.earlier_id is not null
            and floor((alike.earlier_no - 1) / 512) = floor((alike.visit_no - 1) / 512)
            and alike.days <= case
                when alike.earlier_outcome in ('no fault found', 'advice only')
                    then greatest(follow_up.waiting_days, follow_up.window_days)
                else follow_up.window_days
            end
    ),
    ranked as (
        select
            visit_id,
            earlier_id,
            rule,
            row_number() over (partition by visit_id order by rule, earlier_no desc) as choice
        from allowed
    ),
    followed as (
        select visit_id, earlier_id, rule
        from ranked
        where choice = 1
    ),
    first_visit as (
        select ordered.visit_id as visit_id, later.earlier_id is not null as has_later
        from ordered
        left join followed on followed.visit_id = ordered.visit_id
        left join (select distinct earlier_id from followed) as later on later.earlier_id = ordered.visit_id
        where followed.visit_id is null
    ),
    chain as (
        select visit_id as visit_id, visit_id as episode_id, 0 as rule
        from first_visit
        where has_later
        union all
        select followed.visit_id as visit_id, chain.episode_id as episode_id, followed.rule as rule
        from chain
        inner join followed on followed.earlier_id = chain.visit_id
    )
select
    chain.episode_id as episode_id,
    chain.visit_id as visit_id,
    row_number() over (partition by chain.episode_id order by ordered.visit_no) as visit_no,
    case chain.rule
        when 0 then 'first visit'
        when 1 then 'names the earlier job'
        when 2 then 'same job number'
        when 3 then 'says it is back'
        when 4 then 'same complaint or code'
        else 'earlier visit not a cure'
    end as joined_by
from chain
inner join ordered on ordered.visit_id = chain.visit_id
union all
select visit_id as episode_id, visit_id, cast(1 as bigint) as visit_no, 'first visit' as joined_by
from first_visit
where not has_later;

-- must hold: every visit belongs to one episode
select visit.visit_id
from visit
left join episode_visit on episode_visit.visit_id = visit.visit_id
group by visit.visit_id
having count(episode_visit.visit_id) <> 1;

-- must hold: an episode is one unit's, and is named for its first visit
select episode_visit.episode_id, min(visit.appliance_id) as appliance_id
from episode_visit
inner join visit on visit.visit_id = episode_visit.visit_id
group by episode_visit.episode_id
having min(visit.appliance_id) <> max(visit.appliance_id)
    or max(case when episode_visit.visit_no = 1 then episode_visit.visit_id end) is distinct from episode_visit.episode_id;

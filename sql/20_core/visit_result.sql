-- one row a visit: what became of its complaint afterwards, inside the episode
-- key:              visit_id
-- reads:            episode_visit, visit, visit_symptom
-- changes by:       visit_id
-- is_last:          no later visit in the episode
-- next_visit_id:    the episode's next visit; null = none
-- complaint_returned: a later visit of the episode tells the same complaint group or code, or nothing that tells it apart
-- ends_complaint:   outcome fixed and the complaint did not return
-- ended_by_visit_id: the first visit from this one on that ends the complaint; null = none yet
-- confirmed_cause:  the cause confirmed at this visit, or at an earlier one with no attempt to repair in between; null = none
create or replace table visit_result as
with
    -- an episode of one visit has nothing that could come back
    again as (
        select episode_id
        from episode_visit
        where visit_no = 2
    ),
    visited as (
        select
            episode_visit.episode_id as episode_id,
            episode_visit.visit_no as visit_no,
            visit.visit_id as visit_id,
            visit.visit_date as visit_date,
            visit.outcome as outcome,
            case when visit.cause_is_confirmed then visit.cause end as confirmed_here,
            again.episode_id is not null as has_several
        from episode_visit
        inner join visit on visit.visit_id = episode_visit.visit_id
        left join again on again.episode_id = episode_visit.episode_id
    ),
    in_episode as (
        select *
        from visited
        where has_several
    ),
    told as (
        select
            in_episode.episode_id as episode_id,
            in_episode.visit_no as visit_no,
            max(in_episode.visit_no) over (
                partition by in_episode.episode_id, visit_symptom.source, visit_symptom.symptom_group
            ) as last_told,
            case when visit_symptom.source = 'complaint' then 1 else 0 end as is_complaint
        from in_episode
        inner join visit_symptom on visit_symptom.visit_id = in_episode.visit_id
        where not visit_symptom.is_negated and visit_symptom.symptom_group <> 'display'
    ),
    told_by_visit as (
        select episode_id, visit_no, max(last_told) as last_told, max(is_complaint) as has_complaint
        from told
        group by episode_id, visit_no
    ),
    compared as (
        select
            in_episode.episode_id as episode_id,
            in_episode.visit_no as visit_no,
            in_episode.visit_id as visit_id,
            in_episode.visit_date as visit_date,
            in_episode.outcome as outcome,
            in_episode.confirmed_here as confirmed_here,
            coalesce(told_by_visit.has_complaint, 0) as has_complaint,
            coalesce(told_by_visit.last_told, 0) as last_told,
            max(in_episode.visit_no) over episode as last_no,
            max(case when coalesce(told_by_visit.has_complaint, 0) = 0 then in_episode.visit_no else 0 end)
                over episode as last_untold,
            coalesce(
                sum(case when in_episode.outcome in ('fixed', 'not fixed') then 1 else 0 end) over (
                    partition by in_episode.episode_id order by in_episode.visit_no
                    rows between unbounded preceding and 1 preceding
                ),
                0
            ) as attempts_before,
            lead(in_episode.visit_id) over (
                partition by in_episode.episode_id order by in_episode.visit_no
            ) as next_visit_id
        from in_episode
        left join told_by_visit
            on told_by_visit.episode_id = in_episode.episode_id
            and told_by_visit.visit_no = in_episode.visit_no
        window episode as (partition by in_episode.episode_id)
    ),
    returned as (
        select
            *,
            visit_no < last_no and (has_complaint = 0 or last_told > visit_no or last_untold > visit_no)
                as complaint_returned
        from compared
    )
select
    returned.visit_id as visit_id,
    returned.episode_id as episode_id,
    returned.visit_no as visit_no,
    returned.visit_date as visit_date,
    returned.outcome as outcome,
    returned.visit_no = returned.last_no as is_last,
    returned.next_visit_id as next_visit_id,
    returned.complaint_returned as complaint_returned,
    returned.outcome = 'fixed' and not returned.complaint_returned as ends_complaint,
    first_value(
        case when returned.outcome = 'fixed' and not returned.complaint_returned then returned.visit_id end ignore nulls
    ) over (
        partition by returned.episode_id order by returned.visit_no
        rows between current row and unbounded following
    ) as ended_by_visit_id,
    last_value(returned.confirmed_here ignore nulls) over (
        partition by returned.episode_id, returned.attempts_before order by returned.visit_no
        rows between unbounded preceding and current row
    ) as confirmed_cause
from returned
union all
select
    visit_id,
    episode_id,
    visit_no,
    visit_date,
    outcome,
    true as is_last,
    cast(null as bigint) as next_visit_id,
    false as complaint_returned,
    outcome = 'fixed' as ends_complaint,
    case when outcome = 'fixed' then visit_id end as ended_by_visit_id,
    confirmed_here as confirmed_cause
from visited
where not has_several;

-- one row a month of first visits and a value of one dimension: how long cures took
-- key:          dimension, value, month
-- reads:        episode, visit
-- dimension:    all, kind, make, model family, technician (of the first visit), branch (of the first visit), complaint, cause
-- value:        value of the dimension; null = not known
-- month:        first day of the month of the first visit
-- cured:        episodes cured
-- still_open:   episodes open: the figures of a month with many will rise
-- median_days:  half of the cures took no longer from first visit to cure, days
-- p90_days:     nine of ten took no longer, days
-- mean_visits:  visits a cure
-- median_minutes: labour of the whole episode, minutes; null = not recorded
create or replace view time_to_cure as
with
    timed as (
        select
            cast(date_trunc('month', episode.first_visit_date) as date) as month,
            episode.kind as kind,
            episode.make as make,
            episode.model_family as model_family,
            episode.first_technician as first_technician,
            visit.branch as branch,
            episode.main_symptom as main_symptom,
            episode.cause as cause,
            episode.state as state,
            case
                when episode.state = 'cured' then datediff('day', episode.first_visit_date, episode.cure_date)
            end as days,
            case when episode.state = 'cured' then episode.visits end as visits,
            case when episode.state = 'cured' then episode.labour_minutes end as labour_minutes
        from episode
        inner join visit on visit.visit_id = episode.episode_id
        where not episode.is_left_truncated
    )
select
    case
        when grouping(kind) = 0 then 'kind'
        when grouping(make) = 0 then 'make'
        when grouping(model_family) = 0 then 'model family'
        when grouping(first_technician) = 0 then 'technician'
        when grouping(branch) = 0 then 'branch'
        when grouping(main_symptom) = 0 then 'complaint'
        when grouping(cause) = 0 then 'cause'
        else 'all'
    end as dimension,
    case
        when grouping(kind) + grouping(make) + grouping(model_family) + grouping(first_technician)
            + grouping(branch) + grouping(main_symptom) + grouping(cause) = 7 then 'all'
        else coalesce(kind, make, model_family, first_technician, branch, main_symptom, cause)
    end as value,
    month,
    count(days) as cured,
    sum(case when state = 'open' then 1 else 0 end) as still_open,
    percentile_cont(0.5) within group (order by days) as median_days,
    percentile_cont(0.9) within group (order by days) as p90_days,
    avg(visits) as mean_visits,
    percentile_cont(0.5) within group (order by labour_minutes) as median_minutes
from timed
group by grouping sets (
    (month),
    (month, kind),
    (month, make),
    (month, model_family),
    (month, first_technician),
    (month, branch),
    (month, main_symptom),
    (month, cause)
);

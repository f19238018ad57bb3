-- one row a month of first visits and a value of one dimension: how long cures took
-- key:          dimension, value, month
-- reads:        episode
-- dimension:    all, kind, make, model family, technician, complaint, cause
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
            cast(date_trunc('month', first_visit_date) as date) as month,
            kind,
            make,
            model_family,
            first_technician,
            main_symptom,
            cause,
            state,
            case when state = 'cured' then datediff('day', first_visit_date, cure_date) end as days,
            case when state = 'cured' then visits end as visits,
            case when state = 'cured' then labour_minutes end as labour_minutes
        from episode
        where not is_left_truncated
    )
select
    case
        when grouping(kind) = 0 then 'kind'
        when grouping(make) = 0 then 'make'
        when grouping(model_family) = 0 then 'model family'
        when grouping(first_technician) = 0 then 'technician'
        when grouping(main_symptom) = 0 then 'complaint'
        when grouping(cause) = 0 then 'cause'
        else 'all'
    end as dimension,
    case
        when grouping(kind) + grouping(make) + grouping(model_family) + grouping(first_technician)
            + grouping(main_symptom) + grouping(cause) = 6 then 'all'
        else coalesce(kind, make, model_family, first_technician, main_symptom, cause)
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
    (month, main_symptom),
    (month, cause)
);

-- one row a visit: its place among its unit's visits, and what these say of the unit's age
-- key:        visit_id
-- reads:      stage_visit, visit_appliance, raw_record
-- changes by: visit_id
-- visit_no_on_appliance: 1 for the unit's first visit loaded; by date, on one day a visit that names an earlier job last, then as loaded
-- age_years:  age of the appliance at the visit, years; from the unit's earlier visits where this one gives none; null = not known.
--             Never from later ones: a unit that comes back would be known better, and for a reason that came after
create or replace table visit_on_appliance as
with
    placed as (
        select
            stage_visit.visit_id as visit_id,
            stage_visit.record_id as record_id,
            stage_visit.age_years as age_years,
            stage_visit.callback_of is not null as names_a_job,
            datediff('day', date '1970-01-01', stage_visit.visit_date) as day,
            visit_appliance.appliance_id as appliance_id
        from stage_visit
        inner join visit_appliance on visit_appliance.visit_id = stage_visit.visit_id
    ),
    -- a unit visited once has nothing to be told by other visits
    again as (
        select placed.*
        from placed
        inner join (select appliance_id from placed group by appliance_id having count(*) > 1) as unit
            on unit.appliance_id = placed.appliance_id
    ),
    numbered as (
        select
            visit_id,
            day,
            row_number() over so_far as visit_no,
            avg(day - 365.25 * age_years) over before as made_day
        from again
        window
            so_far as (partition by appliance_id order by day, names_a_job, visit_id),
            before as (
                partition by appliance_id
                order by day, names_a_job, visit_id
                rows between unbounded preceding and 1 preceding
            )
    )
select
    placed.visit_id as visit_id,
    placed.appliance_id as appliance_id,
    coalesce(numbered.visit_no, 1) as visit_no_on_appliance,
    coalesce(
        placed.age_years,
        case
            when numbered.made_day is not null
                then round(greatest(0, numbered.day - numbered.made_day) / 365.25, 1)
        end
    ) as age_years,
    raw_record.batch_id as batch_id,
    raw_record.line_no as line_no
from placed
left join numbered on numbered.visit_id = placed.visit_id
left join raw_record on raw_record.record_id = placed.record_id;

-- must hold: the visits of a unit are numbered from 1 without a gap
with
    unit as (
        select appliance_id, count(*) as visits_found, max(visit_no_on_appliance) as last_no
        from visit_on_appliance
        group by appliance_id
    ),
    twice as (
        select distinct visit_on_appliance.appliance_id as appliance_id
        from visit_on_appliance
        inner join unit on unit.appliance_id = visit_on_appliance.appliance_id
        where unit.visits_found > 1
        group by visit_on_appliance.appliance_id, visit_on_appliance.visit_no_on_appliance
        having count(*) > 1
    )
select unit.appliance_id, unit.visits_found, unit.last_no
from unit
left join twice on twice.appliance_id = unit.appliance_id
where unit.last_no <> unit.visits_found or twice.appliance_id is not null;

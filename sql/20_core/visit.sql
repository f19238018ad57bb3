-- one row a visit, the newest version of it
-- key:        visit_id
-- reads:      stage_visit, visit_appliance, raw_record
-- visit_no_on_appliance: 1 for the unit's first visit loaded; by date, on one day a visit that names an earlier job last, then as loaded
-- age_years:  age of the appliance at the visit, years; from the unit's other visits where this one gives none; null = not known
-- cause_is_confirmed: false: none recorded, or written as a guess
-- outcome:    fixed, not fixed, part needed, no fault found, beyond economic repair, declined, no access, made safe, advice only, unknown (also: none written)
create or replace table visit as
with
    -- numbered before the texts are joined: a window carries along whatever it is given
    numbered as (
        select
            stage_visit.visit_id as visit_id,
            visit_appliance.appliance_id as appliance_id,
            row_number() over (
                partition by visit_appliance.appliance_id
                order by
                    stage_visit.visit_date,
                    case when stage_visit.callback_of is null then 0 else 1 end,
                    stage_visit.visit_id
            ) as visit_no
        from stage_visit
        inner join visit_appliance on visit_appliance.visit_id = stage_visit.visit_id
    ),
    aged as (
        select
            visit_appliance.appliance_id as appliance_id,
            avg(datediff('day', date '1970-01-01', stage_visit.visit_date) - 365.25 * stage_visit.age_years) as made_day
        from stage_visit
        inner join visit_appliance on visit_appliance.visit_id = stage_visit.visit_id
        where stage_visit.age_years is not null
        group by visit_appliance.appliance_id
    )
select
    stage_visit.visit_id as visit_id,
    stage_visit.job_no as job_no,
    stage_visit.visit_date as visit_date,
    numbered.appliance_id as appliance_id,
    numbered.visit_no as visit_no_on_appliance,
    stage_visit.kind as kind,
    stage_visit.make as make,
    stage_visit.model as model,
    stage_visit.model_family as model_family,
    coalesce(
        stage_visit.age_years,
        case
            when aged.made_day is not null
                then round(greatest(0, datediff('day', date '1970-01-01', stage_visit.visit_date) - aged.made_day) / 365.25, 1)
        end
    ) as age_years,
    stage_visit.complaint as complaint,
    stage_visit.cause as cause,
    stage_visit.cause_text as cause_text,
    stage_visit.cause is not null and coalesce(stage_visit.cause_is_confirmed, true) as cause_is_confirmed,
    coalesce(stage_visit.outcome, 'unknown') as outcome,
    stage_visit.technician as technician,
    stage_visit.labour_minutes as labour_minutes,
    stage_visit.labour_charge as labour_charge,
    stage_visit.parts_cost as parts_cost,
    stage_visit.currency as currency,
    stage_visit.callback_of as callback_of,
    stage_visit.customer_hash as customer_hash,
    stage_visit.findings_text as findings_text,
    stage_visit.work_done as work_done,
    raw_record.batch_id as batch_id,
    raw_record.line_no as line_no
from stage_visit
inner join numbered on numbered.visit_id = stage_visit.visit_id
left join aged on aged.appliance_id = numbered.appliance_id
left join raw_record on raw_record.record_id = stage_visit.record_id;

-- must hold: visit_id is unique
select visit_id, count(*) as rows_found
from visit
group by visit_id
having count(*) > 1;

-- must hold: an outcome is one of the accepted words
select visit_id, outcome
from visit
where outcome not in (
    'fixed', 'not fixed', 'part needed', 'no fault found', 'beyond economic repair',
    'declined', 'no access', 'made safe', 'advice only', 'unknown'
);

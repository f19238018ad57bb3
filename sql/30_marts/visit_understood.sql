-- one row a visit: which columns of its job record became a value or a known term
-- key:        visit_id
-- reads:      stage_visit, raw_record, stage_symptom, stage_finding, term, word_use
-- changes by: visit_id
-- appliance_kind: null = not given (so are all the columns below)
create or replace table visit_understood as
with
    said as (
        select distinct visit_id
        from stage_symptom
        where source in ('complaint', 'again')
    ),
    coded as (
        select distinct visit_id
        from stage_symptom
        where source = 'code'
    ),
    known as (
        select list, term
        from term
        where origin <> 'own'
    ),
    outcome_known as (
        select written, term
        from word_use
        where list = 'outcome' and term <> 'unknown'
    ),
    seen as (
        select distinct stage_finding.visit_id as visit_id
        from stage_finding
        inner join known on known.term = stage_finding.finding
        where known.list = 'finding'
    )
select
    stage_visit.visit_id as visit_id,
    case when raw_record.appliance_kind is not null then kind_known.term is not null end as appliance_kind,
    case when raw_record.make is not null then stage_visit.make is not null end as make,
    case when raw_record.model is not null then stage_visit.model is not null end as model,
    case when raw_record.serial is not null then stage_visit.serial is not null end as serial,
    case when raw_record.age is not null then stage_visit.age_years is not null end as age,
    case when raw_record.complaint is not null then said.visit_id is not null end as complaint,
    case when raw_record.fault_code is not null then coded.visit_id is not null end as fault_code,
    case when raw_record.findings is not null then seen.visit_id is not null end as findings,
    case when raw_record.cause is not null then cause_known.term is not null end as cause,
    case when raw_record.outcome is not null then outcome_known.term is not null end as outcome,
    case when raw_record.minutes is not null then stage_visit.labour_minutes is not null end as minutes,
    case when raw_record.labour_charge is not null then stage_visit.labour_charge is not null end as labour_charge,
    case when raw_record.parts_cost is not null then stage_visit.parts_cost is not null end as parts_cost
from stage_visit
inner join raw_record on raw_record.record_id = stage_visit.record_id
left join known as kind_known on kind_known.list = 'kind' and kind_known.term = stage_visit.kind
left join known as cause_known on cause_known.list = 'cause' and cause_known.term = stage_visit.cause
left join outcome_known on outcome_known.written = raw_record.outcome
left join said on said.visit_id = stage_visit.visit_id
left join coded on coded.visit_id = stage_visit.visit_id
left join seen on seen.visit_id = stage_visit.visit_id;

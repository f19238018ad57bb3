-- one row a column of the job record that some visit fills
-- key:        column_name
-- reads:      raw_record, stage_visit, stage_symptom, stage_finding, word_use
-- column_name: as a job sheet calls it; a make has no list to be understood by, so it is understood where it is given
-- given:      visits in force that fill it; of parts, part lines
-- understood: of them, those it became a value or a known term for; an outcome that is a guess is not understood
create or replace table column_understood as
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
    seen as (
        select distinct visit_id
        from stage_finding
        where finding not in (select written from word_use where list = 'finding')
    ),
    known as (
        select written, term
        from word_use
        where list = 'kind'
    ),
    cause_known as (
        select written, term
        from word_use
        where list = 'cause'
    ),
    outcome_known as (
        select written, term
        from word_use
        where list = 'outcome'
    ),
    counted as (
        select
            count(visit.visit_id) as appliance_kind_given,
            count(known.term) as appliance_kind_understood,
            count(raw_record.make) as make_given,
            count(case when raw_record.make is not null then visit.make end) as make_understood,
            count(raw_record.model) as model_given,
            count(case when raw_record.model is not null then visit.model end) as model_understood,
            count(raw_record.serial) as serial_given,
            count(case when raw_record.serial is not null then visit.serial end) as serial_understood,
            count(raw_record.age) as age_given,
            count(case when raw_record.age is not null then visit.age_years end) as age_understood,
            count(raw_record.complaint) as complaint_given,
            count(case when raw_record.complaint is not null then said.visit_id end) as complaint_understood,
            count(raw_record.fault_code) as fault_code_given,
            count(case when raw_record.fault_code is not null then coded.visit_id end) as fault_code_understood,
            count(raw_record.findings) as findings_given,
            count(case when raw_record.findings is not null then seen.visit_id end) as findings_understood,
            count(raw_record.cause) as cause_given,
            count(case when raw_record.cause is not null then cause_known.term end) as cause_understood,
            count(raw_record.outcome) as outcome_given,
            count(case when visit.outcome <> 'unknown' then outcome_known.term end) as outcome_understood,
            count(raw_record.minutes) as minutes_given,
            count(case when raw_record.minutes is not null then visit.labour_minutes end) as minutes_understood,
            count(raw_record.labour_charge) as labour_charge_given,
            count(case when raw_record.labour_charge is not null then visit.labour_charge end) as labour_charge_understood,
            count(raw_record.parts_cost) as parts_cost_given,
            count(case when raw_record.parts_cost is not null then visit.parts_cost end) as parts_cost_understood
        from stage_visit as visit
        inner join raw_record on raw_record.record_id = visit.record_id
        left join known on known.written = raw_record.appliance_kind
        left join cause_known on cause_known.written = raw_record.cause
        left join outcome_known on outcome_known.written = raw_record.outcome
        left join said on said.visit_id = visit.visit_id
        left join coded on coded.visit_id = visit.visit_id
        left join seen on seen.visit_id = visit.visit_id
    ),
    every_column as (
        select 'appliance kind' as column_name, appliance_kind_given as given, appliance_kind_understood as understood from counted
        union all
        select 'make' as column_name, make_given as given, make_understood as understood from counted
        union all
        select 'model' as column_name, model_given as given, model_understood as understood from counted
        union all
        select 'serial' as column_name, serial_given as given, serial_understood as understood from counted
        union all
        select 'age' as column_name, age_given as given, age_understood as understood from counted
        union all
        select 'complaint' as column_name, complaint_given as given, complaint_understood as understood from counted
        union all
        select 'fault code' as column_name, fault_code_given as given, fault_code_understood as understood from counted
        union all
        select 'findings' as column_name, findings_given as given, findings_understood as understood from counted
        union all
        select 'cause' as column_name, cause_given as given, cause_understood as understood from counted
        union all
        select 'outcome' as column_name, outcome_given as given, outcome_understood as understood from counted
        union all
        select 'minutes' as column_name, minutes_given as given, minutes_understood as understood from counted
        union all
        select 'labour charge' as column_name, labour_charge_given as given, labour_charge_understood as understood from counted
        union all
        select 'parts cost' as column_name, parts_cost_given as given, parts_cost_understood as understood from counted
        union all
        select
            'parts' as column_name,
            cast(sum(uses) as bigint) as given,
            cast(sum(case when term is not null then uses else 0 end) as bigint) as understood
        from word_use
        where list = 'part'
    )
select
    column_name,
    given,
    understood
from every_column
where given > 0;

-- must hold: no column is understood more often than it is given
select column_name, given, understood
from column_understood
where understood > given;

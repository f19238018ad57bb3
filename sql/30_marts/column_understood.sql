-- one row a column of the job record that some visit fills
-- key:        column_name
-- reads:      visit_understood, word_use
-- column_name: as a job sheet calls it; a make has no list to be understood by, so it is understood where it is given
-- given:      visits in force that fill it; of parts, part lines
-- understood: of them, those it became a value or a known term for; an outcome that is a guess is not understood
create or replace view column_understood as
with
    counted as (
        select
            count(appliance_kind) as appliance_kind_given,
            count(case when appliance_kind then 1 end) as appliance_kind_understood,
            count(make) as make_given,
            count(case when make then 1 end) as make_understood,
            count(model) as model_given,
            count(case when model then 1 end) as model_understood,
            count(serial) as serial_given,
            count(case when serial then 1 end) as serial_understood,
            count(age) as age_given,
            count(case when age then 1 end) as age_understood,
            count(complaint) as complaint_given,
            count(case when complaint then 1 end) as complaint_understood,
            count(fault_code) as fault_code_given,
            count(case when fault_code then 1 end) as fault_code_understood,
            count(findings) as findings_given,
            count(case when findings then 1 end) as findings_understood,
            count(cause) as cause_given,
            count(case when cause then 1 end) as cause_understood,
            count(outcome) as outcome_given,
            count(case when outcome then 1 end) as outcome_understood,
            count(minutes) as minutes_given,
            count(case when minutes then 1 end) as minutes_understood,
            count(labour_charge) as labour_charge_given,
            count(case when labour_charge then 1 end) as labour_charge_understood,
            count(parts_cost) as parts_cost_given,
            count(case when parts_cost then 1 end) as parts_cost_understood
        from visit_understood
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

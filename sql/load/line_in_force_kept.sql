-- one row more a line of an earlier version that says what the file of the version in force has no column for
-- makes:  line_in_force
-- key:    record_id
-- reads:  batch_reading, counted_record, line_in_force, version_earlier
-- Only these fields of it are kept, each from the newest version whose file has the column, money and minutes where
-- both files are read alike.
insert into line_in_force by name
with giver as (
    select
        visit_key,
        batch_id,
        field,
        max(earlier) as given_by
    from (
        select version_earlier.*, unnest(batch_reading.lacks) as field
        from version_earlier
        inner join batch_reading using (batch_id)
    )
    inner join (select batch_id as earlier, lacks from batch_reading) using (earlier)
    where not contains(lacks, field)
    group by all
),
kept as (
    select
        visit_key,
        giver.batch_id,
        given_by,
        list(field) as fields
    from giver
    inner join batch_reading as now on now.batch_id = giver.batch_id
    inner join batch_reading as before on before.batch_id = given_by
    where
        case field
            when 'labour_charge' then now.labour_mark = before.labour_mark
            when 'parts_cost' then now.parts_mark = before.parts_mark
            when 'minutes' then now.duration_unit = before.duration_unit
            else true
        end
        and (field not in ('labour_charge', 'parts_cost') or now.currency is not distinct from before.currency)
    group by all
),
line as (
    select
        counted_record.*,
        kept.batch_id as now_in,
        fields,
        min(parts_cost) over visit is distinct from max(parts_cost) over visit as is_priced_by_line
    from counted_record
    inner join kept on kept.visit_key = counted_record.visit_key and kept.given_by = counted_record.batch_id
    window visit as (partition by counted_record.visit_key, counted_record.batch_id)
)
select
    first_line.visit_id,
    line.* exclude (fields, now_in, is_priced_by_line) replace (
        now_in as batch_id,
        100000 + line_in_visit as line_in_visit,
        null as visit_date,
        null as appliance_kind,
        null as job_no,
        case when contains(fields, 'customer_ref') then customer_ref end as customer_ref,
        case when contains(fields, 'make') then make end as make,
        case when contains(fields, 'model') then model end as model,
        case when contains(fields, 'serial') then serial end as serial,
        case when contains(fields, 'age') then age end as age,
        case when contains(fields, 'complaint') then complaint end as complaint,
        case when contains(fields, 'fault_code') then fault_code end as fault_code,
        case when contains(fields, 'findings') then findings end as findings,
        case when contains(fields, 'cause') then cause end as cause,
        case when contains(fields, 'work_done') then work_done end as work_done,
        case when contains(fields, 'outcome') then outcome end as outcome,
        case when contains(fields, 'technician') then technician end as technician,
        case when contains(fields, 'minutes') then minutes end as minutes,
        case when contains(fields, 'labour_charge') then labour_charge end as labour_charge,
        case when contains(fields, 'parts_cost') then parts_cost end as parts_cost,
        case when contains(fields, 'callback_of') then callback_of end as callback_of,
        case when contains(fields, 'branch') then branch end as branch,
        case when contains(fields, 'photos') then photos end as photos,
        case
            when not contains(fields, 'parts') then null
            when is_priced_by_line and not regexp_matches(parts, '[0-9][.,][0-9]{2}|[£$€]') then concat_ws(' ', parts, parts_cost)
            else parts
        end as parts
    )
from line
inner join (select distinct visit_key, visit_id from line_in_force) as first_line using (visit_key);

-- one row a visit whose lines, one a part, are joined: each field as the first line that has it says, all parts in a row;
--        where the lines of a visit have different costs of parts, each is the price of its own line's part
-- makes: line_in_force
-- key:   visit_id
-- reads: line_in_force
create or replace temp table line_in_force as
with line as (
    select
        *,
        min(parts_cost) over visit is distinct from max(parts_cost) over visit as is_priced_by_line
    from line_in_force
    window visit as (partition by visit_id)
)
select
    visit_id,
    first(record_id order by line_in_visit) as record_id,
    batch_id,
    visit_key,
    first(visit_date order by line_in_visit) filter (visit_date is not null) as visit_date,
    first(appliance_kind order by line_in_visit) filter (appliance_kind is not null) as appliance_kind,
    first(job_no order by line_in_visit) filter (job_no is not null) as job_no,
    first(customer_ref order by line_in_visit) filter (customer_ref is not null) as customer_ref,
    first(make order by line_in_visit) filter (make is not null) as make,
    first(model order by line_in_visit) filter (model is not null) as model,
    first(serial order by line_in_visit) filter (serial is not null) as serial,
    first(age order by line_in_visit) filter (age is not null) as age,
    first(complaint order by line_in_visit) filter (complaint is not null) as complaint,
    first(fault_code order by line_in_visit) filter (fault_code is not null) as fault_code,
    first(findings order by line_in_visit) filter (findings is not null) as findings,
    first(cause order by line_in_visit) filter (cause is not null) as cause,
    first(work_done order by line_in_visit) filter (work_done is not null) as work_done,
    first(outcome order by line_in_visit) filter (outcome is not null) as outcome,
    first(technician order by line_in_visit) filter (technician is not null) as technician,
    first(minutes order by line_in_visit) filter (minutes is not null) as minutes,
    first(labour_charge order by line_in_visit) filter (labour_charge is not null) as labour_charge,
    first(parts_cost order by line_in_visit) filter (parts_cost is not null and not is_priced_by_line) as parts_cost,
    first(branch order by line_in_visit) filter (branch is not null) as branch,
    string_agg(distinct photos, ' ' order by photos) as photos,
    first(callback_of order by line_in_visit) filter (callback_of is not null) as callback_of,
    string_agg(
        case
            when is_priced_by_line and not regexp_matches(parts, '[0-9][.,][0-9]{2}|[£$€]') then concat_ws(' ', parts, parts_cost)
            else parts
        end,
        '; ' order by line_in_visit
    ) as parts
from line
group by visit_id, batch_id, visit_key;

-- one row a line of the file that is not blank
-- key:          line_no
-- reads:        day_read, foreign_money, hashed, serial_read
-- day:          of the visit; null = none, or none that can be read
-- is_ahead:     the day lies further ahead than a planned visit does
-- serial_term:  serial number made comparable
-- base_key:     what the visit is known by: job number and day, else appliance and day; null = it names no unit
-- has_no_unit:  neither job number, serial number nor customer
-- foreign_field: which field is in a currency that is not the workshop's and has no rate; null = none
-- is_refused:   one of these, or no day or kind
create or replace temp table candidate as
with line_named as (
    select
        hashed.*,
        day_read.day,
        coalesce(day_read.day > current_date + $days_ahead::integer, false) as is_ahead,
        serial_read.serial as serial_term,
        case
            when not (contains(hashed.job_no, '[') and regexp_matches(hashed.job_no, '\[(phone|email|account)\]'))
                then plain_name(hashed.job_no)
        end as job_key,
        case
            when foreign_labour.written is not null then 'labour_charge'
            when foreign_parts.written is not null then 'parts_cost'
            when foreign_text.written is not null then 'parts'
        end as foreign_field
    from hashed
    left join foreign_money as foreign_labour on foreign_labour.written = hashed.labour_charge
    left join foreign_money as foreign_parts on foreign_parts.written = hashed.parts_cost
    left join foreign_money as foreign_text on foreign_text.written = hashed.parts
    left join serial_read on serial_read.written = hashed.serial
    left join day_read on day_read.written = hashed.visit_date
),

-- kind, make and model only where nothing else names the unit: making them plain is the dearest step
line_read as (
    select
        *,
        case when job_key is null and serial_term is null then appliance_kind end as unit_kind,
        case when job_key is null and serial_term is null then make end as unit_make,
        case when job_key is null and serial_term is null then model end as unit_model
    from line_named
)

select
    line_no,
    day,
    is_ahead,
    serial_term,
    coalesce(
        'job:' || job_key,
        'serial:' || serial_term,
        'unit:' || customer_ref || '/' || coalesce(plain_name(unit_kind), '')
        || '/' || coalesce(plain_name(unit_make), '') || '/' || coalesce(plain_name(unit_model), '')
    ) || '|' || day as base_key,
    job_key is null and serial_term is null and customer_ref is null as has_no_unit,
    foreign_field,
    day is null or is_ahead or appliance_kind is null or has_no_unit or foreign_field is not null as is_refused
from line_read;

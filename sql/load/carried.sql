-- one row a line; a line of a part that names no visit has the visit of the line above it that does
-- key:   line_no
-- reads: line
create or replace temp table carried as
select
    * replace (
        case when is_bare then last_value(visit_date ignore nulls) over above else visit_date end as visit_date,
        case when is_bare then last_value(appliance_kind ignore nulls) over above else appliance_kind end
            as appliance_kind,
        case when is_bare then last_value(job_no ignore nulls) over above else job_no end as job_no,
        case when is_bare then last_value(serial ignore nulls) over above else serial end as serial,
        case when is_bare then last_value(customer_ref ignore nulls) over above else customer_ref end as customer_ref,
        case when is_bare then last_value(make ignore nulls) over above else make end as make,
        case when is_bare then last_value(model ignore nulls) over above else model end as model
    )
from (
    select
        *,
        visit_date is null and appliance_kind is null and job_no is null and serial is null as is_bare
    from line
)
window above as (order by line_no rows between unbounded preceding and current row);

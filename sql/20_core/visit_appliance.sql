-- one row a visit: the physical unit it was made to
-- key:          visit_id
-- reads:        stage_visit, follow_up
-- appliance_id: smallest visit_id of the unit's visits: stable while older visits stay loaded
-- identity:     serial (kind and serial number), customer (customer, kind, make, model), job (the job number alone)
-- A visit without a serial takes the serial of the job it belongs to or names, where customer, make and model do not contradict it,
-- else the only serial its customer has for this kind, make and model. One without a customer either takes the customer of its job. What stays is known by its job number alone.
create or replace table visit_appliance as
with
    known as (
        select
            stage_visit.visit_id as visit_id,
            stage_visit.visit_date as visit_date,
            stage_visit.kind as kind,
            stage_visit.serial as serial,
            stage_visit.customer_hash as customer_hash,
            coalesce(stage_visit.make, '') as make,
            coalesce(stage_visit.model, '') as model,
            stage_visit.job_no as job_no,
            coalesce(stage_visit.callback_of, stage_visit.job_no) as named_job,
            follow_up.named_days as named_days
        from stage_visit
        cross join follow_up
        where stage_visit.visit_date <= follow_up.as_of
    ),
    -- what all visits of a job agree on, make and model of those with the serial, and the days it was worked on
    job_unit as (
        select
            kind,
            job_no,
            case when min(serial) = max(serial) then min(serial) end as serial,
            case when min(customer_hash) = max(customer_hash) then min(customer_hash) end as customer_hash,
            min(case when serial is not null then nullif(make, '') end) as make,
            min(case when serial is not null then nullif(model, '') end) as model,
            min(visit_date) as first_date,
            max(visit_date) as last_date
        from known
        where job_no is not null
        group by kind, job_no
    ),
    customer_unit as (
        select
            customer_hash,
            kind,
            make,
            model,
            min(serial) as serial
        from known
        where customer_hash is not null and serial is not null
        group by customer_hash, kind, make, model
        having min(serial) = max(serial)
    ),
    without_serial as (
        select
            known.visit_id as visit_id,
            known.visit_date as visit_date,
            known.kind as kind,
            known.make as make,
            known.model as model,
            known.named_job as named_job,
            coalesce(known.customer_hash, own.customer_hash, named.customer_hash) as customer_hash,
            coalesce(own.serial, named.serial) as serial
        from known
        left join job_unit as own
            on own.kind = known.kind
            and own.job_no = known.job_no
            and (known.customer_hash is null or own.customer_hash = known.customer_hash)
            and (known.make = '' or coalesce(own.make, known.make) = known.make)
            and (known.model = '' or coalesce(own.model, known.model) = known.model)
            and datediff('day', own.first_date, known.visit_date) <= known.named_days
            and datediff('day', known.visit_date, own.last_date) <= known.named_days
        left join job_unit as named
            on named.kind = known.kind
            and named.job_no = known.named_job
            and (known.customer_hash is null or named.customer_hash = known.customer_hash)
            and (known.make = '' or coalesce(named.make, known.make) = known.make)
            and (known.model = '' or coalesce(named.model, known.model) = known.model)
            and datediff('day', named.first_date, known.visit_date) <= known.named_days
            and datediff('day', known.visit_date, named.last_date) <= known.named_days
        where known.serial is null
    ),
    resolved as (
        select
            without_serial.visit_id as visit_id,
            without_serial.visit_date as visit_date,
            without_serial.kind as kind,
            without_serial.make as make,
            without_serial.model as model,
            without_serial.named_job as named_job,
            without_serial.customer_hash as customer_hash,
            coalesce(without_serial.serial, customer_unit.serial) as serial
        from without_serial
        left join customer_unit
            on customer_unit.customer_hash = without_serial.customer_hash
            and customer_unit.kind = without_serial.kind
            and customer_unit.make = without_serial.make
            and customer_unit.model = without_serial.model
    ),
    -- a job number alone is one unit until it rests for longer than a job number may reach
    job_alone as (
        select
            resolved.visit_id as visit_id,
            resolved.kind as kind,
            resolved.named_job as named_job,
            case
                when datediff(
                    'day',
                    lag(resolved.visit_date) over (
                        partition by resolved.kind, resolved.named_job order by resolved.visit_date, resolved.visit_id
                    ),
                    resolved.visit_date
                ) > follow_up.named_days
                then 1 else 0
            end as is_reused,
            resolved.visit_date as visit_date
        from resolved
        cross join follow_up
        where resolved.serial is null and resolved.customer_hash is null
    ),
    keyed as (
        select visit_id, 'serial' as identity, kind as kind, serial as key_1, '' as key_2, '' as key_3
        from known
        where serial is not null
        union all
        select visit_id, 'serial' as identity, kind as kind, serial as key_1, '' as key_2, '' as key_3
        from resolved
        where serial is not null
        union all
        select visit_id, 'customer' as identity, kind as kind, customer_hash as key_1, make as key_2, model as key_3
        from resolved
        where serial is null and customer_hash is not null
        union all
        select
            visit_id,
            'job' as identity,
            kind as kind,
            coalesce(named_job, '') as key_1,
            cast(
                case
                    when named_job is null then visit_id
                    else sum(is_reused) over (
                        partition by kind, named_job order by visit_date, visit_id
                        rows between unbounded preceding and current row
                    )
                end as varchar
            ) as key_2,
            '' as key_3
        from job_alone
    ),
    unit as (
        select identity, kind, key_1, key_2, key_3, min(visit_id) as appliance_id
        from keyed
        group by identity, kind, key_1, key_2, key_3
    )
select
    keyed.visit_id as visit_id,
    unit.appliance_id as appliance_id,
    keyed.identity as identity
from keyed
inner join unit
    on unit.identity = keyed.identity
    and unit.kind = keyed.kind
    and unit.key_1 = keyed.key_1
    and unit.key_2 = keyed.key_2
    and unit.key_3 = keyed.key_3;

-- must hold: every visit up to the end of follow-up has one unit
select stage_visit.visit_id
from stage_visit
cross join follow_up
left join visit_appliance on visit_appliance.visit_id = stage_visit.visit_id
where stage_visit.visit_date <= follow_up.as_of
group by stage_visit.visit_id
having count(visit_appliance.visit_id) <> 1;

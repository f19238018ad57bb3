-- one row a visit up to the end of follow-up: by what its unit is known
-- key:          visit_id
-- reads:        stage_visit, term, follow_up
-- identity:     serial (kind and serial number), customer (customer, kind, make, model), job (the job number alone)
-- known_by:     the serial number, the customer or the job number; empty = nothing, the visit is a unit of its own
-- make:         part of the identity where that is the customer, else empty (so is model)
-- stretch_no:   a job number alone is one unit until it rests for longer than a job number may reach: which of these; else 0
-- names_missing_job: it returns to another job, which is not loaded
-- kind:         of the visit; of one whose kind no list knows, that of the visits with its serial: an unread word says nothing against it
-- A kind no list knows is that of the only known kind with the serial, else one for whatever unread kinds have it, where the makes do not
-- contradict each other. Two known kinds with one serial are two units.
-- A visit without a serial takes the serial of the job it belongs to or names, where customer, make and model do not contradict it,
-- else the only serial its customer has for this kind, make and model. One without a customer either takes the customer of its job. What stays is known by its job number alone.
-- A view, and the only one of a visit's figures that looks beyond the visit's unit: sql/affected/neighbour.sql says how far.
create or replace view visit_identity as
with
    known as (
        select
            stage_visit.visit_id as visit_id,
            stage_visit.visit_date as visit_date,
            stage_visit.kind as kind,
            stage_visit.serial as serial,
            stage_visit.customer_hash as customer_hash,
            stage_visit.make as make,
            stage_visit.model as model,
            stage_visit.job_no as job_no,
            coalesce(stage_visit.callback_of, stage_visit.job_no) as named_job
        from stage_visit
        cross join follow_up
        where stage_visit.visit_date <= follow_up.as_of
    ),
    bare as (
        select
            known.visit_id as visit_id,
            known.visit_date as visit_date,
            known.kind as kind,
            known.customer_hash as customer_hash,
            coalesce(known.make, '') as make,
            coalesce(known.model, '') as model,
            known.job_no as job_no,
            known.named_job as named_job,
            follow_up.named_days as named_days
        from known
        cross join follow_up
        where known.serial is null
    ),
    job_asked as (
        select kind, job_no
        from bare
        where job_no is not null
        union
        select kind, named_job as job_no
        from bare
        where named_job is not null
    ),
    -- what all visits of a job agree on, make and model of those with the serial, and the days it was worked on
    job_unit as (
        select
            known.kind as kind,
            known.job_no as job_no,
            case when min(known.serial) = max(known.serial) then min(known.serial) end as serial,
            case when min(known.customer_hash) = max(known.customer_hash) then min(known.customer_hash) end as customer_hash,
            min(case when known.serial is not null then nullif(known.make, '') end) as make,
            min(case when known.serial is not null then nullif(known.model, '') end) as model,
            min(known.visit_date) as first_date,
            max(known.visit_date) as last_date
        from known
        inner join job_asked
            on job_asked.kind = known.kind
            and job_asked.job_no = known.job_no
        group by known.kind, known.job_no
    ),
    without_serial as (
        select
            bare.visit_id as visit_id,
            bare.visit_date as visit_date,
            bare.kind as kind,
            bare.make as make,
            bare.model as model,
            bare.named_job as named_job,
            coalesce(bare.customer_hash, own.customer_hash, named.customer_hash) as customer_hash,
            coalesce(own.serial, named.serial) as serial
        from bare
        left join job_unit as own
            on own.kind = bare.kind
            and own.job_no = bare.job_no
            and (bare.customer_hash is null or own.customer_hash = bare.customer_hash)
            and (bare.make = '' or coalesce(own.make, bare.make) = bare.make)
            and (bare.model = '' or coalesce(own.model, bare.model) = bare.model)
            and datediff('day', own.first_date, bare.visit_date) <= bare.named_days
            and datediff('day', bare.visit_date, own.last_date) <= bare.named_days
        left join job_unit as named
            on named.kind = bare.kind
            and named.job_no = bare.named_job
            and (bare.customer_hash is null or named.customer_hash = bare.customer_hash)
            and (bare.make = '' or coalesce(named.make, bare.make) = bare.make)
            and (bare.model = '' or coalesce(named.model, bare.model) = bare.model)
            and datediff('day', named.first_date, bare.visit_date) <= bare.named_days
            and datediff('day', bare.visit_date, named.last_date) <= bare.named_days
    ),
    customer_asked as (
        select distinct customer_hash
        from without_serial
        where customer_hash is not null and serial is null
    ),
    customer_unit as (
        select
            known.customer_hash as customer_hash,
            known.kind as kind,
            coalesce(known.make, '') as make,
            coalesce(known.model, '') as model,
            min(known.serial) as serial
        from known
        inner join customer_asked on customer_asked.customer_hash = known.customer_hash
        where known.serial is not null
        group by known.customer_hash, known.kind, coalesce(known.make, ''), coalesce(known.model, '')
        having min(known.serial) = max(known.serial)
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
    stretch as (
        select
            visit_id,
            kind,
            coalesce(named_job, '') as job_no,
            case
                when named_job is null then visit_id
                else sum(is_reused) over (
                    partition by kind, named_job order by visit_date, visit_id
                    rows between unbounded preceding and current row
                )
            end as stretch_no
        from job_alone
    ),
    as_written as (
        select visit_id, kind, serial, make
        from known
        where serial is not null
        union all
        select visit_id, kind, serial, nullif(make, '') as make
        from resolved
        where serial is not null
    ),
    unread as (
        select distinct term as kind
        from term
        where list = 'kind' and origin = 'own'
    ),
    serial_unread as (
        select as_written.serial as serial, min(as_written.kind) as kind, min(as_written.make) as make
        from as_written
        inner join unread on unread.kind = as_written.kind
        group by as_written.serial
    ),
    serial_read as (
        select
            as_written.serial as serial,
            min(as_written.kind) as kind,
            max(as_written.kind) as other_kind,
            min(as_written.make) as make
        from as_written
        inner join serial_unread on serial_unread.serial = as_written.serial
        left join unread on unread.kind = as_written.kind
        where unread.kind is null
        group by as_written.serial
    ),
    with_serial as (
        select
            as_written.visit_id as visit_id,
            as_written.serial as serial,
            case
                when unread.kind is null then as_written.kind
                when serial_read.kind is null
                    and coalesce(as_written.make, serial_unread.make, '') = coalesce(serial_unread.make, '')
                    then serial_unread.kind
                when serial_read.kind = serial_read.other_kind
                    and coalesce(as_written.make, serial_read.make, '') = coalesce(serial_read.make, as_written.make, '')
                    then serial_read.kind
                else as_written.kind
            end as kind
        from as_written
        left join unread on unread.kind = as_written.kind
        left join serial_unread on serial_unread.serial = as_written.serial
        left join serial_read on serial_read.serial = as_written.serial
    ),
    identified as (
        select visit_id, 'serial' as identity, kind, serial as known_by, '' as make, '' as model, 0 as stretch_no
        from with_serial
        union all
        select visit_id, 'customer' as identity, kind, customer_hash as known_by, make, model, 0 as stretch_no
        from resolved
        where serial is null and customer_hash is not null
        union all
        select visit_id, 'job' as identity, kind, job_no as known_by, '' as make, '' as model, stretch_no
        from stretch
    ),
    naming as (
        select visit_id, kind, named_job
        from known
        where named_job is distinct from job_no
    ),
    missing as (
        select naming.visit_id as visit_id
        from naming
        left join (
            select distinct known.kind as kind, known.job_no as job_no
            from known
            inner join (select distinct kind, named_job from naming) as asked
                on asked.kind = known.kind
                and asked.named_job = known.job_no
        ) as loaded
            on loaded.kind = naming.kind
            and loaded.job_no = naming.named_job
        where loaded.job_no is null
    )
select
    identified.visit_id as visit_id,
    identified.identity as identity,
    identified.kind as kind,
    identified.known_by as known_by,
    identified.make as make,
    identified.model as model,
    cast(identified.stretch_no as bigint) as stretch_no,
    missing.visit_id is not null as names_missing_job
from identified
left join missing on missing.visit_id = identified.visit_id;

-- one row a visit that may stand otherwise in core and marts than before the change
-- key:   visit_id
-- reads: changed_visit, stage_visit, visit_appliance, renamed_visit
-- A visit without a serial number is known by that of its job or its customer, one without a customer by that of its job
-- (sql/20_core/visit_identity.sql): such visits may now belong to another unit. Units change as a whole: all visits of those
-- they belonged to, and of those they may belong to now. More visits than need be do no harm, one too few would.
create or replace temp table touched as
with
    changed_job as (
        select distinct kind, job_no
        from changed_visit
        where job_no is not null
    ),
    changed_customer as (
        select distinct kind, customer_hash
        from changed_visit
        where customer_hash is not null
    ),
    job_of_customer as (
        select distinct stage_visit.kind as kind, stage_visit.job_no as job_no
        from stage_visit
        inner join changed_customer
            on changed_customer.kind = stage_visit.kind
            and changed_customer.customer_hash = stage_visit.customer_hash
        where stage_visit.job_no is not null
    ),
    job_asked as (
        select kind, job_no, true as is_changed from changed_job
        union all
        select kind, job_no, false as is_changed from job_of_customer
    ),
    -- visits that may be known by something else now, or whose named job is loaded now, or no longer
    asked as (
        select visit_id
        from changed_visit
        union
        select stage_visit.visit_id
        from stage_visit
        inner join job_asked on job_asked.kind = stage_visit.kind and job_asked.job_no = stage_visit.callback_of
        where job_asked.is_changed or (stage_visit.serial is null and stage_visit.customer_hash is null)
        union
        select stage_visit.visit_id
        from stage_visit
        inner join job_asked on job_asked.kind = stage_visit.kind and job_asked.job_no = stage_visit.job_no
        where stage_visit.serial is null and (job_asked.is_changed or stage_visit.customer_hash is null)
        union
        select stage_visit.visit_id
        from stage_visit
        inner join changed_customer
            on changed_customer.kind = stage_visit.kind
            and changed_customer.customer_hash = stage_visit.customer_hash
        where stage_visit.serial is null
    ),
    asked_visit as (
        select stage_visit.*
        from stage_visit
        inner join asked on asked.visit_id = stage_visit.visit_id
    ),
    bare as (
        select * from asked_visit where serial is null
    ),
    named_job as (
        select kind, job_no from bare where job_no is not null
        union
        select kind, callback_of as job_no from bare where callback_of is not null
    ),
    -- what they may be known by: what they give themselves, what the visits of their jobs give, what their customers' visits give
    mate as (
        select stage_visit.kind as kind, stage_visit.serial as serial, stage_visit.customer_hash as customer_hash
        from stage_visit
        inner join named_job on named_job.kind = stage_visit.kind and named_job.job_no = stage_visit.job_no
    ),
    customer as (
        select kind, customer_hash from bare where customer_hash is not null
        union
        select kind, customer_hash from mate where customer_hash is not null
    ),
    of_customer as (
        select stage_visit.kind as kind, stage_visit.serial as serial, stage_visit.job_no as job_no
        from stage_visit
        inner join customer on customer.kind = stage_visit.kind and customer.customer_hash = stage_visit.customer_hash
    ),
    -- of any kind: one that no list knows says nothing against a serial
    serial_known as (
        select serial from asked_visit where serial is not null
        union
        select serial from changed_visit where serial is not null
        union
        select serial from mate where serial is not null
        union
        select serial from of_customer where serial is not null
    ),
    job_known as (
        select kind, job_no from of_customer where job_no is not null
        union
        select kind, coalesce(callback_of, job_no) as job_no
        from bare
        where callback_of is not null or job_no is not null
    ),
    started as (
        select visit_id from asked
        union
        select stage_visit.visit_id
        from stage_visit
        inner join serial_known on serial_known.serial = stage_visit.serial
        union
        select stage_visit.visit_id
        from stage_visit
        inner join customer on customer.kind = stage_visit.kind and customer.customer_hash = stage_visit.customer_hash
        where stage_visit.serial is null
        union
        select stage_visit.visit_id
        from stage_visit
        inner join job_known on job_known.kind = stage_visit.kind and job_known.job_no = stage_visit.job_no
        where stage_visit.serial is null and stage_visit.customer_hash is null
        union
        select stage_visit.visit_id
        from stage_visit
        inner join job_known on job_known.kind = stage_visit.kind and job_known.job_no = stage_visit.callback_of
        where stage_visit.serial is null and stage_visit.customer_hash is null
        union
        select visit_id from renamed_visit
    )
select visit_id
from started
union
select visit_appliance.visit_id
from visit_appliance
inner join (
    select distinct placed.appliance_id as appliance_id
    from visit_appliance as placed
    inner join started on started.visit_id = placed.visit_id
) as unit on unit.appliance_id = visit_appliance.appliance_id;

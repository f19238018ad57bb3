-- one row a visit that says by what the visits touched are known, and is not touched itself
-- key:   visit_id
-- reads: touched, stage_visit
-- The visits of their jobs and of the jobs they name, those of their customers and of their jobs' customers. Where a job number
-- alone is all that is known, also the other visits known by it, and what says that these are.
create or replace temp table neighbour as
with
    touched_visit as (
        select stage_visit.*
        from stage_visit
        inner join touched on touched.visit_id = stage_visit.visit_id
    ),
    job_alone as (
        select distinct kind, coalesce(callback_of, job_no) as job_no
        from touched_visit
        where serial is null and coalesce(callback_of, job_no) is not null
    ),
    known_alike as (
        select stage_visit.*
        from stage_visit
        inner join job_alone
            on job_alone.kind = stage_visit.kind
            and job_alone.job_no = coalesce(stage_visit.callback_of, stage_visit.job_no)
        where stage_visit.serial is null and stage_visit.customer_hash is null
    ),
    bare as (
        select visit_id, kind, job_no, callback_of, customer_hash from touched_visit where serial is null
        union
        select visit_id, kind, job_no, callback_of, customer_hash from known_alike
    ),
    job as (
        select kind, job_no from bare where job_no is not null
        union
        select kind, callback_of as job_no from bare where callback_of is not null
        union
        select kind, callback_of as job_no from touched_visit where callback_of is not null
    ),
    mate as (
        select stage_visit.visit_id as visit_id, stage_visit.kind as kind, stage_visit.customer_hash as customer_hash
        from stage_visit
        inner join job on job.kind = stage_visit.kind and job.job_no = stage_visit.job_no
    ),
    customer as (
        select kind, customer_hash from bare where customer_hash is not null
        union
        select kind, customer_hash from mate where customer_hash is not null
    ),
    found as (
        select visit_id from known_alike
        union
        select visit_id from mate
        union
        select stage_visit.visit_id
        from stage_visit
        inner join customer on customer.kind = stage_visit.kind and customer.customer_hash = stage_visit.customer_hash
        where stage_visit.serial is not null
    )
select found.visit_id
from found
left join touched on touched.visit_id = found.visit_id
where touched.visit_id is null;

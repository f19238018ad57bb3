-- one row a visit that is gone whose job came in anew under another day, or whose unit and day under another job number
-- key:      visit_key
-- reads:    counted_record, gone, present_visit
-- same_job: by its job number
-- $batches: what the load brought
create or replace temp table came_in_anew as
with line as (
    select
        visit_key,
        day_of(visit_key) as day,
        plain_name(job_no) as job,
        coalesce(serial, customer_ref) || coalesce(plain_name(appliance_kind), '') as unit
    from counted_record
),

was as (
    select distinct line.*
    from line
    inner join gone using (visit_key)
),

brought as (
    select distinct *
    from line
    where
        visit_key in (select present_visit.visit_key from present_visit)
        and visit_key not in (
            select counted_record.visit_key
            from counted_record
            where counted_record.batch_id not in (select unnest($batches))
        )
)

select
    was.visit_key,
    bool_or(brought.job = was.job) as same_job
from was
inner join brought
    on (brought.job = was.job and brought.day <> was.day)
    or (brought.unit = was.unit and brought.day = was.day)
group by was.visit_key;

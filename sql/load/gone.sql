-- one row a visit held within the files' period that no file holds
-- key:   visit_key
-- reads: counted_record, present_visit
create or replace temp table gone as
with held as (
    select distinct
        visit_key,
        day_of(visit_key) as day
    from counted_record
)

select
    visit_key,
    day
from held
where
    day between $first and $last
    and visit_key not in (select present_visit.visit_key from present_visit);

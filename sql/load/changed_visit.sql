-- one row a visit staged anew and a state of it, as it was or as it is: what ties visits together
-- key:   none
-- reads: stage_visit
create or replace temp table changed_visit as
select visit_id, kind, serial, customer_hash, job_no
from stage_visit
limit 0;

-- one row more a visit of the lines at hand, as it is staged now
-- makes: changed_visit
-- key:   none
-- reads: stage_visit, visit_text
insert into changed_visit
select visit_id, kind, serial, customer_hash, job_no
from stage_visit
where visit_id in (select visit_id from visit_text);

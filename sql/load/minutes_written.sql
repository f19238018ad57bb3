-- one row a duration as written and what a bare number means there, to be read
-- key:   w, u
-- reads: batch_reading, visit_text
create or replace temp view minutes_written as
select distinct minutes as w, duration_unit as u
from visit_text
inner join batch_reading using (batch_id)
where minutes is not null
order by all;

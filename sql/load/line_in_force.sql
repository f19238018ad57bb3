-- one row a line of the versions in force
-- key:      record_id
-- reads:    counted_record, version_in_force
-- visit_id: first line that ever brought the visit
create or replace temp table line_in_force as
select first_line.visit_id, counted_record.*
from counted_record
inner join version_in_force using (visit_key, batch_id)
inner join (
    select visit_key, min(record_id) as visit_id
    from counted_record
    where visit_key in (select version_in_force.visit_key from version_in_force)
    group by visit_key
) as first_line using (visit_key);

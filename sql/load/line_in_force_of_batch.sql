-- one row a line of a batch whose lines, a visit each, stand in raw_record after record $last
-- makes:    line_in_force
-- key:      record_id
-- reads:    fresh, raw_record
-- visit_id: first line that ever brought the visit
create or replace temp table line_in_force as
select coalesce(fresh.held_id, raw_record.record_id) as visit_id, raw_record.*
from raw_record
inner join fresh on raw_record.record_id = $last + fresh.line_no
order by visit_id;

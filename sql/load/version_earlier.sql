-- one row a visit and an earlier version of it
-- key:     visit_key, earlier
-- reads:   counted_record, version_in_force
-- earlier: the batch that brought it
create or replace temp table version_earlier as
select distinct visit_key, version_in_force.batch_id, counted_record.batch_id as earlier
from version_in_force
inner join counted_record using (visit_key)
where counted_record.batch_id < version_in_force.batch_id;

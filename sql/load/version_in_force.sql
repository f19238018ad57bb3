-- one row a visit held, with the batch that brought its newest version
-- key:   visit_key
-- reads: counted_record
create or replace temp table version_in_force as
select visit_key, max(batch_id) as batch_id
from counted_record
group by visit_key;

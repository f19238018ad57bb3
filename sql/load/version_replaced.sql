-- one row a visit that batch $batch brings a new version of, with the batch of the version held before
-- makes: version_in_force
-- key:   visit_key
-- reads: counted_record, fresh
create or replace temp table version_in_force as
select visit_key, max(batch_id) as batch_id
from counted_record
where visit_key in (select visit_key from fresh where held_id is not null) and batch_id < $batch
group by visit_key;

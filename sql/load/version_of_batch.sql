-- one row a visit that batch $batch brings
-- makes: version_in_force
-- key:   visit_key
-- reads: fresh
create or replace temp table version_in_force as
select distinct visit_key, $batch::integer as batch_id
from fresh;

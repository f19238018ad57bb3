-- one row a batch: how its columns are read
-- key:   batch_id
-- reads: load_batch
create or replace temp table batch_reading as
select
    batch_id,
    coalesce(reading ->> '$.decimal_mark.labour_charge', '') as labour_mark,
    coalesce(reading ->> '$.decimal_mark.parts_cost', '') as parts_mark,
    reading ->> '$.currency' as currency,
    coalesce(reading ->> '$.bare_durations', 'minutes') as duration_unit
from load_batch;

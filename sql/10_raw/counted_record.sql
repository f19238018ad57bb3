-- one row a source line that counts: its batch is not taken back, and no whole history took its visit out
-- key:        record_id
-- reads:      raw_record, load_batch
create or replace view counted_record as
select raw_record.*
from raw_record
where
    raw_record.batch_id not in (select load_batch.batch_id from load_batch where load_batch.taken_back_at is not null)
    and (
        raw_record.withdrawn_by is null
        or raw_record.withdrawn_by in (
            select load_batch.batch_id from load_batch where load_batch.taken_back_at is not null
        )
    );

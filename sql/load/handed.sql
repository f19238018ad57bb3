-- one row a line of a batch that another file holds word for word, with the first such file
-- key:   record_id
-- reads: load_batch, raw_record, seen_again
create or replace temp table handed as
select
    record_id,
    line_no,
    batch_id
from seen_again
where
    batch_id <> $batch
    and record_id in (select raw_record.record_id from raw_record where raw_record.batch_id = $batch)
    and batch_id in (select load_batch.batch_id from load_batch where load_batch.taken_back_at is null)
qualify row_number() over (partition by record_id order by batch_id, line_no) = 1;

-- one row a line that a batch handed to a later file when it was taken back
-- key:   record_id
-- reads: raw_record, seen_again
create or replace temp table lent as
select
    line_no,
    record_id
from seen_again
where
    batch_id = $batch
    and record_id in (select raw_record.record_id from raw_record where raw_record.batch_id > $batch);

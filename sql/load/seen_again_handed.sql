-- one row a line that is handed to another file: from then on the batch it came with only saw it
-- makes: seen_again
-- key:   batch_id, line_no
-- reads: handed, raw_record
insert into seen_again
select
    $batch as batch_id,
    raw_record.line_no,
    record_id
from raw_record
inner join handed using (record_id);

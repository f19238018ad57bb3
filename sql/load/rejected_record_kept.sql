-- one row a line that was refused, with its reasons
-- makes: rejected_record
-- key:   batch_id, line_no
-- reads: refusal
insert into rejected_record by name
select
    $batch as batch_id,
    line_no,
    line_text,
    reasons
from refusal
order by line_no;

-- one row a line of the file that is held word for word, with the line held
-- makes: seen_again
-- key:   batch_id, line_no
-- reads: found_again, source_line
insert into seen_again
select
    $batch as batch_id,
    coalesce(source_line, line_no) as line_no,
    record_id
from found_again
left join source_line using (line_no)
order by all;

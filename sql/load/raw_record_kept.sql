-- one row a line that is new or a new version, as it came in
-- makes:  raw_record
-- key:    record_id
-- reads:  fresh, screened, source_line
-- $last:  record_id that the lines of this batch count on from
insert into raw_record by name
select
    $last + line_no as record_id,
    $batch::integer as batch_id,
    visit_key,
    line_in_visit,
    coalesce(source_line, line_no) as line_no,
    coalesce(content_hash, line_hash) as content_hash,
    screened.* exclude (line_no, line_hash)
from screened
inner join fresh using (line_no)
left join source_line using (line_no);

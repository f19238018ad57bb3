-- one row a line of the file that is held word for word
-- key:       line_no
-- reads:     arrived, counted_record, held, matched
-- record_id: the line held
create or replace temp table found_again as
select arrived.line_no, line.record_id
from matched
inner join held using (visit_key)
inner join arrived using (visit_line)
inner join counted_record as line
    on line.visit_key = held.visit_key
    and line.batch_id = held.batch_id
    and line.line_in_visit = arrived.line_in_visit;

-- one row a line of a file with a line a visit; lines that repeat a whole visit word for word are left out
-- key:          line_no
-- reads:        candidate, screened
-- visit_line:   the line itself
-- content_hash: of the line
-- unit:         the appliance within the job: its serial, else its kind
create or replace temp table arrived as
select
    line_no,
    base_key,
    complaint,
    unit_of(serial_term, coalesce(plain_name(appliance_kind), '')) as unit,
    line_no as visit_line,
    1 as line_in_visit,
    line_hash as content_hash
from candidate
inner join screened using (line_no)
qualify row_number() over (partition by base_key, line_hash order by line_no) = 1;

-- one row a visit of the file
-- key:   visit_line
-- reads: arrived
create or replace temp table visit_arrived as
select visit_line, base_key, content_hash, unit, complaint
from arrived
where line_no = visit_line;

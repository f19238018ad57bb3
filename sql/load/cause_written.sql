-- one row a written cause of a kind, to be read
-- key:   w, k
-- reads: kind_read, visit_text
create or replace temp view cause_written as
select distinct cause as w, kind_read.term as k
from visit_text
left join kind_read on kind_read.written = visit_text.appliance_kind
where cause is not null;

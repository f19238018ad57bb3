-- one row a visit: its texts, with kind and make as read
-- key:   visit_id
-- reads: kind_read, make_read, visit_text
create or replace temp view text_to_read as
select v.visit_id, v.complaint, v.fault_code, v.findings, v.parts, kind_read.term as kind, make_read.term as make
from visit_text as v
inner join kind_read on kind_read.written = v.appliance_kind
left join make_read on make_read.written = v.make;

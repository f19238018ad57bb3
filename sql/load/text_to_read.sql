-- one row a visit: its texts, with kind and make as read, and the currency of prices written without one (null = ours)
-- key:   visit_id
-- reads: batch_reading, kind_read, make_read, visit_text
create or replace temp view text_to_read as
select
    v.visit_id,
    v.complaint,
    v.fault_code,
    v.findings,
    v.parts,
    kind_read.term as kind,
    make_read.term as make,
    batch_reading.currency
from visit_text as v
inner join kind_read on kind_read.written = v.appliance_kind
inner join batch_reading using (batch_id)
left join make_read on make_read.written = v.make;

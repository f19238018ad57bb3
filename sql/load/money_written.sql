-- one row an amount as written in a field with a decimal mark, to be read
-- key:   field, w, m
-- reads: batch_reading, visit_text
-- n:     visits it stands at
create or replace temp view money_written as
select 'labour_charge' as field, labour_charge as w, labour_mark as m, count(*) as n
from visit_text
inner join batch_reading using (batch_id)
where labour_charge is not null
group by all
union all
select 'parts_cost' as field, parts_cost as w, parts_mark as m, count(*) as n
from visit_text
inner join batch_reading using (batch_id)
where parts_cost is not null
group by all;

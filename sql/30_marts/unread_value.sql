-- one row a visit and column whose written value became no value: too old, not a number, "dk" …; it counts as not recorded
-- key:         visit_id, column_name
-- reads:       raw_record, stage_visit
-- column_name: as in column_understood
-- written:     the value as it stands in the line
-- line_no:     in the file of the batch
create or replace view unread_value as
select visit.visit_id as visit_id, 'age' as column_name, raw_record.age as written, raw_record.batch_id as batch_id, raw_record.line_no as line_no
from stage_visit as visit
inner join raw_record on raw_record.record_id = visit.record_id
where raw_record.age is not null and visit.age_years is null
union all
select visit.visit_id as visit_id, 'serial' as column_name, raw_record.serial as written, raw_record.batch_id as batch_id, raw_record.line_no as line_no
from stage_visit as visit
inner join raw_record on raw_record.record_id = visit.record_id
where raw_record.serial is not null and visit.serial is null
union all
select visit.visit_id as visit_id, 'model' as column_name, raw_record.model as written, raw_record.batch_id as batch_id, raw_record.line_no as line_no
from stage_visit as visit
inner join raw_record on raw_record.record_id = visit.record_id
where raw_record.model is not null and visit.model is null
union all
select visit.visit_id as visit_id, 'minutes' as column_name, raw_record.minutes as written, raw_record.batch_id as batch_id, raw_record.line_no as line_no
from stage_visit as visit
inner join raw_record on raw_record.record_id = visit.record_id
where raw_record.minutes is not null and visit.labour_minutes is null
union all
select visit.visit_id as visit_id, 'labour charge' as column_name, raw_record.labour_charge as written, raw_record.batch_id as batch_id, raw_record.line_no as line_no
from stage_visit as visit
inner join raw_record on raw_record.record_id = visit.record_id
where raw_record.labour_charge is not null and visit.labour_charge is null
union all
select visit.visit_id as visit_id, 'parts cost' as column_name, raw_record.parts_cost as written, raw_record.batch_id as batch_id, raw_record.line_no as line_no
from stage_visit as visit
inner join raw_record on raw_record.record_id = visit.record_id
where raw_record.parts_cost is not null and visit.parts_cost is null;

-- must hold: a visit's column is unread once
select visit_id, column_name, count(*) as rows_found
from unread_value
group by visit_id, column_name
having count(*) > 1;

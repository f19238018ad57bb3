-- one row a visit in force that a candidate line may be a version of
-- key:          visit_key
-- reads:        candidate, counted_record, stage_visit
-- base_key:     what the visit is known by, without the number of the visit among those known by the same
-- visit_id:     first line that ever brought it
-- content_hash: of its first line
-- unit:         the appliance within the job: its serial, else its kind
create or replace temp table held as
with versions as (
    select
        visit_key,
        case when contains(visit_key, '|#') then regexp_replace(visit_key, '\|#[0-9]+$', '') else visit_key end as base_key,
        min(record_id) as visit_id,
        max(batch_id) as batch_id
    from counted_record
    where base_key in (select base_key from candidate)
    group by all
)
select
    visit_key,
    batch_id,
    base_key,
    visit_id,
    line.content_hash,
    unit_of(stage_visit.serial, plain_name(line.appliance_kind)) as unit,
    line.complaint
from versions
inner join counted_record as line using (visit_key, batch_id)
inner join stage_visit using (visit_id)
where line.line_in_visit = 1;

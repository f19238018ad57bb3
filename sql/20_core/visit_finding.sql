-- one row a finding of a visit
-- key:         visit_id, finding, value
-- reads:       stage_finding, visit_on_appliance
-- changes by:  visit_id
-- is_doubtful: every mention of it in the visit is doubtful
create or replace table visit_finding as
select
    stage_finding.visit_id as visit_id,
    stage_finding.finding as finding,
    stage_finding.value as value,
    stage_finding.is_doubtful as is_doubtful
from stage_finding
inner join visit_on_appliance on visit_on_appliance.visit_id = stage_finding.visit_id;

-- must hold: a visit has a value of a finding once
select visit_id, finding, value, count(*) as rows_found
from visit_finding
group by visit_id, finding, value
having count(*) > 1;

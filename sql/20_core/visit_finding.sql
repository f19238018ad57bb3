-- one row a finding of a visit
-- key:         visit_id, finding, value
-- reads:       stage_finding, visit
-- is_doubtful: every mention of it in the visit is doubtful
create or replace table visit_finding as
select
    stage_finding.visit_id as visit_id,
    stage_finding.finding as finding,
    stage_finding.value as value,
    min(case when stage_finding.is_doubtful then 1 else 0 end) = 1 as is_doubtful
from stage_finding
inner join visit on visit.visit_id = stage_finding.visit_id
group by stage_finding.visit_id, stage_finding.finding, stage_finding.value;

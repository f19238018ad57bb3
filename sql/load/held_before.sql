-- one row a visit held of which the file brings a new version, as it stands before
-- key:   visit_id
-- reads: fresh, stage_finding, stage_part, stage_visit
create or replace temp table held_before as
select
    stage_visit.*,
    (select count(*) from stage_part where stage_part.visit_id = stage_visit.visit_id) as part_lines,
    (select sum(quantity * unit_cost) from stage_part where stage_part.visit_id = stage_visit.visit_id) as price_of_parts,
    (select count(*) from stage_finding where stage_finding.visit_id = stage_visit.visit_id) as findings
from stage_visit
where visit_id in (select held_id from fresh);

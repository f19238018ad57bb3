-- one row a part and a cause of which the cure list does not say whether the one cures the other
-- key:       kind, cause, part
-- reads:     part_verdict, visit
-- cause:     confirmed at the visit that ended the complaint
-- verdicts:  part lines left open for want of it
-- job_no:    one job as example; null = its visits have no job number
-- last_date: day of the last such visit
create or replace view cure_to_review as
select
    part_verdict.kind as kind,
    part_verdict.confirmed_cause as cause,
    part_verdict.part as part,
    count(*) as verdicts,
    max(visit.job_no) as job_no,
    max(part_verdict.visit_date) as last_date
from part_verdict
inner join visit on visit.visit_id = part_verdict.visit_id
where part_verdict.is_for_review
group by part_verdict.kind, part_verdict.confirmed_cause, part_verdict.part;

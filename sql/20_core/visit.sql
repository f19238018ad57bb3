-- one row a visit, the newest version of it
-- key:        visit_id
-- reads:      visit_on_appliance, stage_visit, branch_name
-- photos:     links to photographs, as written, more than one with spaces between; null = none
-- branch:     whose job it was, in its most frequent spelling; null = not recorded
-- cause_is_confirmed: false: none recorded, or written as a guess
-- outcome:    fixed, not fixed, part needed, no fault found, beyond economic repair, declined, no access, made safe, advice only, unknown (also: none written)
-- A view: its texts are kept once, with the staged lines.
create or replace view visit as
select
    stage_visit.visit_id as visit_id,
    stage_visit.job_no as job_no,
    stage_visit.visit_date as visit_date,
    visit_on_appliance.appliance_id as appliance_id,
    visit_on_appliance.visit_no_on_appliance as visit_no_on_appliance,
    stage_visit.kind as kind,
    stage_visit.make as make,
    stage_visit.model as model,
    stage_visit.model_family as model_family,
    visit_on_appliance.age_years as age_years,
    stage_visit.complaint as complaint,
    stage_visit.cause as cause,
    stage_visit.cause_text as cause_text,
    stage_visit.cause is not null and coalesce(stage_visit.cause_is_confirmed, true) as cause_is_confirmed,
    coalesce(stage_visit.outcome, 'unknown') as outcome,
    stage_visit.technician as technician,
    branch_name.name as branch,
    stage_visit.labour_minutes as labour_minutes,
    stage_visit.labour_charge as labour_charge,
    stage_visit.parts_cost as parts_cost,
    stage_visit.currency as currency,
    stage_visit.callback_of as callback_of,
    stage_visit.customer_hash as customer_hash,
    stage_visit.findings_text as findings_text,
    stage_visit.work_done as work_done,
    stage_visit.photos as photos,
    visit_on_appliance.batch_id as batch_id,
    visit_on_appliance.line_no as line_no
from stage_visit
inner join visit_on_appliance on visit_on_appliance.visit_id = stage_visit.visit_id
left join branch_name on branch_name.written = stage_visit.branch;

-- must hold: visit_id is unique
select visit_id, count(*) as rows_found
from visit
group by visit_id
having count(*) > 1;

-- must hold: an outcome is one of the accepted words
select visit_id, outcome
from visit
where outcome not in (
    'fixed', 'not fixed', 'part needed', 'no fault found', 'beyond economic repair',
    'declined', 'no access', 'made safe', 'advice only', 'unknown'
);

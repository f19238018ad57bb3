-- one row a field that visits held had and their new versions lack or keep
-- key:    field
-- reads:  held_before, stage_finding, stage_part, stage_visit
-- gone, money_gone: part lines, findings or values that no longer stand, and their money; visits_gone: of how many visits
-- kept, visits_kept: those that still stand
create or replace temp table taken_away as
with now_held as (
    select
        stage_visit.*,
        (select count(*) from stage_part where stage_part.visit_id = stage_visit.visit_id) as part_lines,
        (select sum(quantity * unit_cost) from stage_part where stage_part.visit_id = stage_visit.visit_id) as price_of_parts,
        (select count(*) from stage_finding where stage_finding.visit_id = stage_visit.visit_id) as findings
    from stage_visit
    where visit_id in (select held_before.visit_id from held_before)
),
compared as (
    select
        unnest([
            {'field': 'parts', 'was': was.part_lines, 'now': now_held.part_lines,
            'money': coalesce(was.price_of_parts, 0) - coalesce(now_held.price_of_parts, 0)},
            {'field': 'findings', 'was': was.findings, 'now': now_held.findings, 'money': null},
            {'field': 'outcome', 'was': (was.outcome <> 'unknown')::bigint, 'now': (now_held.outcome <> 'unknown')::bigint, 'money': null},
            {'field': 'make', 'was': (was.make is not null)::bigint, 'now': (now_held.make is not null)::bigint, 'money': null},
            {'field': 'model', 'was': (was.model is not null)::bigint, 'now': (now_held.model is not null)::bigint, 'money': null},
            {'field': 'serial', 'was': (was.serial is not null)::bigint, 'now': (now_held.serial is not null)::bigint, 'money': null},
            {'field': 'customer_ref', 'was': (was.customer_hash is not null)::bigint, 'now': (now_held.customer_hash is not null)::bigint, 'money': null},
            {'field': 'age', 'was': (was.age_years is not null)::bigint, 'now': (now_held.age_years is not null)::bigint, 'money': null},
            {'field': 'complaint', 'was': (was.complaint is not null)::bigint, 'now': (now_held.complaint is not null)::bigint, 'money': null},
            {'field': 'cause', 'was': (was.cause is not null)::bigint, 'now': (now_held.cause is not null)::bigint, 'money': null},
            {'field': 'work_done', 'was': (was.work_done is not null)::bigint, 'now': (now_held.work_done is not null)::bigint, 'money': null},
            {'field': 'technician', 'was': (was.technician is not null)::bigint, 'now': (now_held.technician is not null)::bigint, 'money': null},
            {'field': 'minutes', 'was': (was.labour_minutes is not null)::bigint, 'now': (now_held.labour_minutes is not null)::bigint, 'money': null},
            {'field': 'labour_charge', 'was': (was.labour_charge is not null)::bigint, 'now': (now_held.labour_charge is not null)::bigint, 'money': was.labour_charge},
            {'field': 'parts_cost', 'was': (was.parts_cost is not null)::bigint, 'now': (now_held.parts_cost is not null)::bigint, 'money': was.parts_cost},
            {'field': 'callback_of', 'was': (was.callback_of is not null)::bigint, 'now': (now_held.callback_of is not null)::bigint, 'money': null},
            {'field': 'branch', 'was': (was.branch is not null)::bigint, 'now': (now_held.branch is not null)::bigint, 'money': null},
            {'field': 'photos', 'was': (was.photos is not null)::bigint, 'now': (now_held.photos is not null)::bigint, 'money': null}
        ], max_depth := 2)
    from held_before as was
    inner join now_held using (visit_id)
)
select
    field,
    coalesce(sum(was - now) filter (was > now), 0)::bigint as gone,
    count(*) filter (was > now) as visits_gone,
    sum(money) filter (was > now) as money_gone,
    sum(now)::bigint as kept,
    count(*) filter (now > 0) as visits_kept
from compared
where was > 0
group by field
order by field;

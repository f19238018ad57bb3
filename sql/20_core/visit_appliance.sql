-- one row a visit: the physical unit it was made to
-- key:          visit_id
-- reads:        visit_identity
-- changes by:   visit_id
-- appliance_id: smallest visit_id of the unit's visits: stable while older visits stay loaded
create or replace table visit_appliance as
with
    known as (
        select visit_id, identity, kind, known_by, make, model, stretch_no, names_missing_job
        from visit_identity
    ),
    unit as (
        select identity, kind, known_by, make, model, stretch_no, min(visit_id) as appliance_id
        from known
        group by identity, kind, known_by, make, model, stretch_no
    )
select
    known.visit_id as visit_id,
    unit.appliance_id as appliance_id,
    known.identity as identity,
    known.names_missing_job as names_missing_job
from known
inner join unit
    on unit.kind = known.kind
    and unit.known_by = known.known_by
    and unit.identity = known.identity
    and unit.make = known.make
    and unit.model = known.model
    and unit.stretch_no = known.stretch_no;

-- must hold: every visit up to the end of follow-up has one unit
select stage_visit.visit_id
from stage_visit
cross join follow_up
left join visit_appliance on visit_appliance.visit_id = stage_visit.visit_id
where stage_visit.visit_date <= follow_up.as_of
group by stage_visit.visit_id
having count(visit_appliance.visit_id) <> 1;

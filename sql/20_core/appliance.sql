-- one row a physical unit
-- key:              appliance_id
-- reads:            visit, visit_appliance, stage_visit
-- is_weak_identity: no serial: two like units of one customer would look like one
-- make:             as on the unit's last visit that gives one (so are model, model_family, serial and customer_hash)
-- first_visit_date: day of the unit's first visit loaded
-- last_visit_date:  day of its last
-- visits:           number of visits loaded
create or replace table appliance as
with
    named as (
        select
            visit.appliance_id as appliance_id,
            visit_appliance.identity as identity,
            visit.kind as kind,
            visit.visit_date as visit_date,
            last_value(visit.make ignore nulls) over unit as make,
            last_value(visit.model ignore nulls) over unit as model,
            last_value(visit.model_family ignore nulls) over unit as model_family,
            last_value(stage_visit.serial ignore nulls) over unit as serial,
            last_value(visit.customer_hash ignore nulls) over unit as customer_hash,
            row_number() over unit as visit_no
        from visit
        inner join visit_appliance on visit_appliance.visit_id = visit.visit_id
        inner join stage_visit on stage_visit.visit_id = visit.visit_id
        window unit as (
            partition by visit.appliance_id order by visit.visit_no_on_appliance
            rows between unbounded preceding and current row
        )
    ),
    counted as (
        select
            appliance_id,
            min(visit_date) as first_visit_date,
            max(visit_date) as last_visit_date,
            count(*) as visits
        from named
        group by appliance_id
    )
select
    named.appliance_id as appliance_id,
    named.identity as identity,
    named.identity <> 'serial' as is_weak_identity,
    named.kind as kind,
    named.make as make,
    named.model as model,
    named.model_family as model_family,
    named.serial as serial,
    named.customer_hash as customer_hash,
    counted.first_visit_date as first_visit_date,
    counted.last_visit_date as last_visit_date,
    counted.visits as visits
from named
inner join counted
    on counted.appliance_id = named.appliance_id
    and counted.visits = named.visit_no;

-- must hold: every visit belongs to one unit, and the units' visits add up
select visit.appliance_id, count(*) as visits_found, max(appliance.visits) as visits_stated
from visit
left join appliance on appliance.appliance_id = visit.appliance_id
group by visit.appliance_id
having count(*) is distinct from max(appliance.visits);

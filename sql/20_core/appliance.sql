-- one row a physical unit
-- key:              appliance_id
-- reads:            visit, visit_appliance, stage_visit
-- is_weak_identity: no serial: two like units of one customer would look like one
-- make:             as on the unit's last visit that gives one (so are model, model_family, serial and customer_hash)
-- first_visit_date: day of the unit's first visit loaded
-- last_visit_date:  day of its last
-- visits:           number of visits loaded
create or replace view appliance as
with
    counted as (
        select
            appliance_id,
            min(visit_date) as first_visit_date,
            max(visit_date) as last_visit_date,
            count(*) as visits
        from visit
        group by appliance_id
    ),
    last_visit as (
        select
            visit.visit_id as visit_id,
            visit.appliance_id as appliance_id,
            visit.kind as kind,
            visit.make as make,
            visit.model as model,
            visit.model_family as model_family,
            visit.customer_hash as customer_hash,
            counted.first_visit_date as first_visit_date,
            counted.last_visit_date as last_visit_date,
            counted.visits as visits
        from visit
        inner join counted
            on counted.appliance_id = visit.appliance_id
            and counted.visits = visit.visit_no_on_appliance
    ),
    identified as (
        select
            last_visit.*,
            stage_visit.serial as serial,
            visit_appliance.identity as identity
        from last_visit
        inner join stage_visit on stage_visit.visit_id = last_visit.visit_id
        inner join visit_appliance on visit_appliance.visit_id = last_visit.visit_id
    ),
    -- what the last visit does not give, an earlier one may
    lacking as (
        select appliance_id, visits
        from identified
        where visits > 1
            and (make is null or model is null or model_family is null or serial is null or customer_hash is null)
    ),
    named as (
        select
            visit.appliance_id as appliance_id,
            visit.visit_no_on_appliance as visit_no,
            lacking.visits as visits,
            last_value(visit.make ignore nulls) over unit as make,
            last_value(visit.model ignore nulls) over unit as model,
            last_value(visit.model_family ignore nulls) over unit as model_family,
            last_value(stage_visit.serial ignore nulls) over unit as serial,
            last_value(visit.customer_hash ignore nulls) over unit as customer_hash
        from lacking
        inner join visit on visit.appliance_id = lacking.appliance_id
        inner join stage_visit on stage_visit.visit_id = visit.visit_id
        window unit as (
            partition by visit.appliance_id order by visit.visit_no_on_appliance
            rows between unbounded preceding and current row
        )
    )
select
    identified.appliance_id as appliance_id,
    identified.identity as identity,
    identified.identity <> 'serial' as is_weak_identity,
    identified.kind as kind,
    coalesce(identified.make, named.make) as make,
    coalesce(identified.model, named.model) as model,
    coalesce(identified.model_family, named.model_family) as model_family,
    coalesce(identified.serial, named.serial) as serial,
    coalesce(identified.customer_hash, named.customer_hash) as customer_hash,
    identified.first_visit_date as first_visit_date,
    identified.last_visit_date as last_visit_date,
    identified.visits as visits
from identified
left join named
    on named.appliance_id = identified.appliance_id
    and named.visit_no = named.visits;

-- must hold: every visit belongs to one unit, and the units' visits add up
select visit.appliance_id, count(*) as visits_found, max(appliance.visits) as visits_stated
from visit
left join appliance on appliance.appliance_id = visit.appliance_id
group by visit.appliance_id
having count(*) is distinct from max(appliance.visits);

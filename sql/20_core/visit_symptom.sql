-- one row a symptom of a visit: a complaint, or a fault code shown
-- key:           visit_id, symptom, source
-- reads:         stage_symptom, symptom_group, visit_on_appliance
-- changes by:    visit_id
-- A complaint that says no more than that the fault is back ("still not working") tells that of the unit's visit before: none of its own.
-- symptom_group: complaints that may be one fault seen twice; a complaint outside the list, and every code, is a group of its own
create or replace table visit_symptom as
with
    grouped as (
        select symptom, min(symptom_group) as symptom_group
        from symptom_group
        group by symptom
    ),
    again as (
        select distinct stage_symptom.visit_id as visit_id
        from stage_symptom
        inner join visit_on_appliance on visit_on_appliance.visit_id = stage_symptom.visit_id
        where stage_symptom.source = 'again' and visit_on_appliance.visit_no_on_appliance > 1
    )
select
    stage_symptom.visit_id as visit_id,
    stage_symptom.symptom as symptom,
    stage_symptom.source as source,
    stage_symptom.is_negated as is_negated,
    stage_symptom.is_doubtful as is_doubtful,
    case
        when stage_symptom.source = 'code' then stage_symptom.symptom
        else coalesce(grouped.symptom_group, stage_symptom.symptom)
    end as symptom_group
from stage_symptom
inner join visit_on_appliance on visit_on_appliance.visit_id = stage_symptom.visit_id
left join grouped on grouped.symptom = stage_symptom.symptom
left join again on again.visit_id = stage_symptom.visit_id
where stage_symptom.source = 'code' or (stage_symptom.source = 'complaint' and again.visit_id is null);

-- must hold: a visit tells a symptom once from each source
select visit_id, symptom, source, count(*) as rows_found
from visit_symptom
group by visit_id, symptom, source
having count(*) > 1;

-- must hold: a symptom comes from the complaint or from a code
select visit_id, symptom, source
from visit_symptom
where source not in ('complaint', 'code');

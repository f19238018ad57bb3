-- one row a symptom of a visit: a complaint, or a fault code shown
-- key:           visit_id, symptom, source
-- reads:         stage_symptom, symptom_group, visit
-- symptom_group: complaints that may be one fault seen twice; a complaint outside the list, and every code, is a group of its own
create or replace table visit_symptom as
with
    grouped as (
        select symptom, min(symptom_group) as symptom_group
        from symptom_group
        group by symptom
    ),
    told as (
        select
            visit_id,
            symptom,
            source,
            min(case when is_negated then 1 else 0 end) as negated,
            min(case when is_doubtful then 1 else 0 end) as doubtful
        from stage_symptom
        group by visit_id, symptom, source
    )
select
    told.visit_id as visit_id,
    told.symptom as symptom,
    told.source as source,
    told.negated = 1 as is_negated,
    told.doubtful = 1 as is_doubtful,
    case when told.source = 'code' then told.symptom else coalesce(grouped.symptom_group, told.symptom) end as symptom_group
from told
inner join visit on visit.visit_id = told.visit_id
left join grouped on grouped.symptom = told.symptom;

-- must hold: a symptom comes from the complaint or from a code
select visit_id, symptom, source
from visit_symptom
where source not in ('complaint', 'code');

-- one row a part line
-- key:          part_line_id
-- reads:        stage_part, visit
-- changes by:   visit_id
-- part_line_id: visit_id * 1000 + position of the part within the visit
-- cost:         quantity * unit_cost; without a unit cost, an even share of what the visit's parts_cost leaves over; null = not known
create or replace table part_fitted as
with
    known_cost as (
        select
            visit_id,
            sum(quantity * unit_cost) as cost,
            sum(case when unit_cost is null then 1 else 0 end) as lines_without
        from stage_part
        group by visit_id
    )
select
    stage_part.visit_id * 1000 + stage_part.part_no as part_line_id,
    stage_part.visit_id as visit_id,
    stage_part.part as part,
    stage_part.quantity as quantity,
    stage_part.unit_cost as unit_cost,
    coalesce(
        stage_part.quantity * stage_part.unit_cost,
        case
            when visit.parts_cost >= coalesce(known_cost.cost, 0)
            then (visit.parts_cost - coalesce(known_cost.cost, 0)) / known_cost.lines_without
        end
    ) as cost,
    stage_part.as_written as as_written
from stage_part
inner join visit on visit.visit_id = stage_part.visit_id
inner join known_cost on known_cost.visit_id = stage_part.visit_id;

-- must hold: part_line_id is unique
select part_line_id, count(*) as rows_found
from part_fitted
group by part_line_id
having count(*) > 1;

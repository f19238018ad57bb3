-- one row a visit of the file that is new or changed, with the key it goes by
-- key:       visit_line
-- reads:     held, matched, unchanged, visit_arrived
-- visit_key: the base key, from the second visit of the same key on with its number: "|#2"
-- held_id:   the visit it is a new version of; null = a new visit
create or replace temp table named as
with highest as (
    select
        base_key,
        max(coalesce(try_cast(regexp_extract(visit_key, '\|#([0-9]+)$', 1) as integer), 1)) as highest
    from held
    group by base_key
),
added as (
    select
        visit_line,
        base_key,
        coalesce(highest, 0) + row_number() over (partition by base_key order by visit_line) as place
    from visit_arrived
    left join highest using (base_key)
    where visit_line not in (select visit_line from matched)
)
select
    visit_line,
    base_key || case when place > 1 then '|#' || place else '' end as visit_key,
    null::bigint as held_id
from added
union all
select *
from matched
where visit_line not in (select visit_line from unchanged);

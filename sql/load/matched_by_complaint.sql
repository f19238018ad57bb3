-- one row more a visit of the file and a visit held that go by one key and have the same complaint, in the order of both
-- makes: matched
-- key:   visit_line
-- reads: held, matched, visit_arrived
insert into matched
with arriving as (
    select *, row_number() over (partition by base_key, complaint order by visit_line) as place
    from visit_arrived
    where visit_line not in (select visit_line from matched)
),
holding as (
    select *, row_number() over (partition by base_key, complaint order by visit_id) as place
    from held
    where visit_key not in (select visit_key from matched)
)
select arriving.visit_line, holding.visit_key, holding.visit_id
from arriving
inner join holding using (base_key, complaint, place);

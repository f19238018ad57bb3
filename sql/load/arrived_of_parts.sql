-- one row a line of a file with a line a part, gathered into visits
-- makes:         arrived
-- key:           line_no
-- reads:         candidate, screened
-- visit_line:    first line of its visit
-- line_in_visit: 1, 2, … within the visit
-- content_hash:  of all lines of the visit
-- A key under which several appliances stand is several visits.
create or replace temp table arrived as
with lines as materialized (
    select
        line_no,
        base_key,
        complaint,
        line_hash,
        serial_term,
        coalesce(plain_name(appliance_kind), '') as kind_key,
        unit_of(serial_term, coalesce(plain_name(appliance_kind), '')) as unit
    from candidate
    inner join screened using (line_no)
),
several as (
    select base_key
    from lines
    group by base_key
    having count(distinct serial_term) > 1 or count(distinct kind_key) > 1
),
parts as (
    select *, case when base_key in (select base_key from several) then unit else '' end as part_of
    from lines
)
select
    *,
    min(line_no) over visit as visit_line,
    row_number() over (visit order by line_no) as line_in_visit,
    md5(string_agg(line_hash, '' order by line_no) over visit) as content_hash
from parts
window visit as (partition by base_key, part_of);

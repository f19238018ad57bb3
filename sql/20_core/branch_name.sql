-- one row a spelling of a branch: the name it goes by
-- key:        written
-- reads:      stage_visit
-- written:    as the records have it
-- name:       of the spellings that differ in nothing but capitals and spaces the one on most visits
create or replace table branch_name as
with
    counted as (
        select
            branch as written,
            lower(replace(branch, ' ', '')) as alike,
            count(*) as visits
        from stage_visit
        where branch is not null
        group by branch
    )
select
    written,
    first_value(written) over (partition by alike order by visits desc, written) as name
from counted;

-- must hold: names that differ in nothing but capitals and spaces are one
select lower(replace(name, ' ', '')) as alike, count(distinct name) as names
from branch_name
group by alike
having count(distinct name) > 1;

-- one row a line of a file all of whose lines are new visits: nothing held goes by their keys, nor do two of them by one
-- makes: fresh
-- key:   line_no
-- reads: candidate
create or replace temp view fresh as
select
    line_no,
    day,
    base_key as visit_key,
    1 as line_in_visit,
    null::varchar as content_hash,
    null::bigint as held_id
from candidate;

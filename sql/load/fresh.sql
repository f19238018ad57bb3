-- one row a line of a visit that is new or a new version
-- key:          line_no
-- reads:        arrived, candidate, named
-- content_hash: of the visit; null = the line's own
-- held_id:      the visit it is a new version of; null = a new visit
create or replace temp table fresh as
select candidate.line_no, candidate.day, named.visit_key, arrived.line_in_visit, arrived.content_hash, named.held_id
from named
inner join arrived using (visit_line)
inner join candidate using (line_no);

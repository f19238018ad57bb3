-- one row a visit that the files said to be the whole history hold
-- key:        none
-- written by: pipeline/load/whole_history.py
create or replace temp table present_visit (visit_key varchar);

-- one row a symptom told anywhere: its place in the alphabet
-- key:        symptom
-- reads:      stage_symptom
-- symptom:    complaint term, or the fault code normalised
-- symptom_no: from 1; other symptoms, other numbers: they hold within one building of the tables
-- A table of its own, so that the planner knows how few they are: a join built on the other side outgrows a load's memory.
create or replace table symptom_order as
select symptom, row_number() over (order by symptom) as symptom_no
from (select distinct symptom from stage_symptom) as told;

-- must hold: a number is one symptom's
select symptom_no, count(*) as symptoms
from symptom_order
group by symptom_no
having count(*) > 1;

-- one row a visit of the file that is held word for word
-- key:   visit_line
-- reads: matched
create or replace temp table unchanged as
select visit_line
from matched;

-- one row a cell that is masked; where two customers' names were looked for in it, what keeps the least of it
-- makes: mask
-- key:   written, level
-- reads: mask
create or replace temp table mask as
select distinct on (written, level) *
from mask
order by written, level, length(masked);

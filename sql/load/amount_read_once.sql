-- one row a quantity or unit price as written, once where both columns write it
-- makes: amount_read
-- key:   written
-- reads: amount_read
create or replace temp table amount_read as
select distinct on (written) *
from amount_read;

-- one row a line after a step of shaping, numbered anew in the order of shaped
-- makes: incoming
-- key:   line_no
-- reads: shaped
-- c1, c2, …: its cells
create or replace temp table incoming as
select
    rowid - (select min(rowid) from shaped) + 1 as line_no,
    * exclude (source_line)
from shaped;

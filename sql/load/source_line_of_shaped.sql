-- one row a line after a step of shaping, with its number in the file
-- makes: source_line
-- key:   line_no
-- reads: shaped, source_line
create or replace temp table source_line as
select
    shaped.rowid - (select min(earliest.rowid) from shaped as earliest) + 1 as line_no,
    coalesce(before.source_line, shaped.source_line) as source_line
from shaped
left join source_line as before on before.line_no = shaped.source_line
order by shaped.rowid;

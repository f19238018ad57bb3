-- one row a line of the file, the visit of a line that names none carried down to it
-- makes: line
-- key:   line_no
-- reads: carried
create or replace temp view line as
select * from carried;

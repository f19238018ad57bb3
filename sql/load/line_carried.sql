-- one row a line of the file, the visit of a line that names none carried down to it
-- makes: line
-- key:   line_no
-- reads: carried
alter table carried rename to line;

-- one row a line that was made of a line of the file; none where lines are taken as they stand
-- key:         line_no
-- source_line: number of the line in the file
create temp table if not exists source_line (
    line_no bigint,
    source_line bigint
);

-- one row a line of the file that is held word for word: none
-- makes: found_again
-- key:   line_no
create or replace temp table found_again (line_no bigint, record_id bigint);

-- one row a line of the file that is refused
-- key:        line_no
-- written by: pipeline/load/refusals.py
-- line_text:  the whole line as a JSON object, masked
-- reasons:    a JSON list: column, value, rule, remedy
create or replace temp table refusal (
    line_no bigint,
    line_text varchar,
    reasons varchar
);

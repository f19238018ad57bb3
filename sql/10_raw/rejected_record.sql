-- one row a refused line
-- key:        batch_id, line_no
-- written by: pipeline/load/load.py, append-only
create table if not exists rejected_record (
    batch_id integer not null,          -- the file load it came with
    line_no bigint not null,            -- in the file, header included, the first line is 1
    line_text varchar not null,         -- JSON object of the line as read, personal data hashed or masked
    reasons varchar not null            -- JSON list of {"column", "value", "rule", "remedy"}
);

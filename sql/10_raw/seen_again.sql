-- one row a line that a later file held word for word: when the batch it came with is taken back, that file still holds it
-- key:        batch_id, line_no
-- written by: pipeline/load/load.py; a row goes with its batch
create table if not exists seen_again (
    batch_id integer not null,          -- the file load that found it again
    line_no bigint not null,            -- where it stands in that file
    record_id bigint not null           -- the line held
);

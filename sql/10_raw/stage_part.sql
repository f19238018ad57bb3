-- one row a part line of a visit
-- key:        visit_id, part_no
-- written by: pipeline/load/stage.py, replaced as a whole
create table if not exists stage_part (
    visit_id bigint not null,           -- visit
    part_no integer not null,           -- position of the part within the visit, from 1
    part varchar not null,              -- term, or the workshop's own word
    quantity double not null,           -- pieces
    unit_cost double,                   -- money a piece; null = not given
    as_written varchar not null         -- the part line as written
);

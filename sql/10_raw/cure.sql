-- one row a part that cures a cause in a kind of appliance, or one that holds it; several parts of one cause are all needed
-- key:        kind, cause, part
-- written by: pipeline/load/stage.py, replaced as a whole
create table if not exists cure (
    kind varchar not null,              -- kind of appliance
    cause varchar not null,             -- what was wrong
    part varchar,                       -- part that cures it; null = cured without a part
    origin varchar not null             -- shipped, workshop list, review; joint: it cures a cause that holds this one
);

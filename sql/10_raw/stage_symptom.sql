-- one row a symptom of a visit
-- key:        visit_id, symptom, source
-- written by: pipeline/load/stage.py, replaced as a whole
create table if not exists stage_symptom (
    visit_id bigint not null,           -- visit
    symptom varchar not null,           -- complaint term, or the fault code normalised ("K07", "lamps 1+4", "4 flashes")
    source varchar not null,            -- complaint, code; again: the complaint says no more than that the fault is back
    is_negated boolean not null,        -- "not leaking": said to be absent
    is_doubtful boolean not null        -- "? leaking": said with doubt
);

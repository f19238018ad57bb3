-- one row a finding of a visit
-- key:        visit_id, finding, value
-- written by: pipeline/load/stage.py, replaced as a whole
create table if not exists stage_finding (
    visit_id bigint not null,           -- visit
    finding varchar not null,           -- what was looked at
    value varchar not null,             -- what was seen
    is_doubtful boolean not null        -- said with doubt
);

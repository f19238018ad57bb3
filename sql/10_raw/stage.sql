-- the newest version of each visit, read into values and terms; replaced as a whole by pipeline/stage.py when words or decisions change
-- key:        stage_visit: visit_id; the others: visit_id and their term columns
-- reads:      raw_record, correction
create table if not exists stage_visit (
    visit_id bigint primary key,        -- record_id of the first version of this visit ever loaded: stable over corrections
    record_id bigint not null,          -- first line of the version in force
    visit_date date not null,
    kind varchar not null,
    job_no varchar,
    customer_hash varchar,
    make varchar,
    model varchar,
    model_family varchar,               -- leading letters and digits of the model that its variants share
    serial varchar,                     -- normalised; null = none
    age_years double,                   -- at the visit; null = not known
    complaint varchar,                  -- masked text
    findings_text varchar,
    cause varchar,                      -- term; null = none recorded
    cause_text varchar,
    cause_is_confirmed boolean,         -- false: written as a guess; null = no cause
    work_done varchar,
    outcome varchar,                    -- fixed, not fixed, part needed, no fault found, beyond economic repair, declined, no access, made safe, advice only, unknown
    technician varchar,
    labour_minutes double,
    labour_charge double,
    parts_cost double,
    currency varchar,
    callback_of varchar                 -- job_no this visit returns to
);
create table if not exists stage_symptom (
    visit_id bigint not null,
    symptom varchar not null,           -- complaint term, or the fault code normalised ("F05", "lamps 1+3", "4 flashes")
    source varchar not null,            -- complaint, code
    is_negated boolean not null,        -- "not leaking": said to be absent
    is_doubtful boolean not null        -- "? leaking"
);
create table if not exists stage_finding (
    visit_id bigint not null,
    finding varchar not null,
    value varchar not null,
    is_doubtful boolean not null
);
create table if not exists stage_part (
    visit_id bigint not null,
    part_no integer not null,           -- position of the part within the visit, from 1
    part varchar not null,              -- term, or the workshop's own word
    quantity double not null,
    unit_cost double,                   -- null = not given
    as_written varchar not null
);
create table if not exists word_use (
    list varchar not null,              -- kind, complaint, finding, cause, part, outcome, make
    written varchar not null,           -- a whole cell for coded columns, a word or phrase for free text
    term varchar,                       -- what it became; null = not understood
    uses bigint not null,               -- visits in which it stands
    example varchar                     -- one text it stands in
);
create table if not exists term (
    list varchar not null,
    term varchar not null,
    origin varchar not null             -- shipped, workshop list, review, own
);
create table if not exists cure (
    kind varchar not null,
    cause varchar not null,
    part varchar,                       -- null = cured without a part
    origin varchar not null             -- shipped, workshop list, review
);
create table if not exists symptom_group (
    symptom varchar not null,
    symptom_group varchar not null      -- complaints that may be one fault seen twice
);

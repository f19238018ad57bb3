-- one row a visit, the newest version of it read into values and terms
-- key:        visit_id
-- written by: pipeline/load/stage.py, replaced as a whole when words or decisions change; it reads raw_record and correction
create table if not exists stage_visit (
    visit_id bigint not null,           -- record_id of the first version of this visit ever loaded: stable over corrections
    record_id bigint not null,          -- first line of the version in force
    visit_date date not null,           -- day of the visit
    kind varchar not null,              -- kind of appliance
    job_no varchar using compression uncompressed, -- the workshop's number; several visits may share one; null = none
    customer_hash varchar using compression uncompressed, -- keyed hash of the customer's reference; null = none
    make varchar,                       -- null = not known
    model varchar,                      -- normalised; null = not known
    model_family varchar,               -- leading letters and digits of the model that its variants share
    serial varchar using compression uncompressed, -- normalised; null = none
    age_years double,                   -- age of the appliance at the visit, years; null = not known
    complaint varchar,                  -- what the customer says, contact details masked
    findings_text varchar,              -- what was looked at and seen, contact details masked
    cause varchar,                      -- term of the cause; null = none recorded
    cause_text varchar,                 -- the cause as written
    cause_is_confirmed boolean,         -- false: written as a guess; null = no cause
    work_done varchar,                  -- as written, contact details masked
    outcome varchar,                    -- fixed, not fixed, part needed, no fault found, beyond economic repair, declined, no access, made safe, advice only, unknown
    technician varchar,                 -- who made the visit, as given or its keyed hash; null = not recorded
    labour_minutes double,              -- labour at the appliance, without travel, minutes; null = not recorded
    labour_charge double,               -- money; null = not recorded
    parts_cost double,                  -- parts of the whole visit, money; null = not recorded
    currency varchar,                   -- of the visit's money; null = the workshop's own
    callback_of varchar,                -- job_no this visit returns to; null = names none
    branch varchar,                     -- workshop or branch whose job it is, as written; null = not recorded
    photos varchar                      -- links to photographs of the visit, as written; null = none
);

-- one row a source line, verbatim but for personal data (customer_ref is a keyed hash, contact details in free text are masked)
-- key:        record_id
-- written by: pipeline/load.py, append-only; the newest batch of a visit_key is the version in force
create table if not exists raw_record (
    record_id bigint primary key,
    batch_id integer not null,
    line_no bigint not null,            -- in the file, header included, the first line is 1
    visit_key varchar not null,         -- job number and date, or unit and date; equal in every version of one visit
    line_in_visit integer not null,     -- 1 but where a visit takes several lines (one line a part)
    content_hash varchar not null,      -- of the whole visit's lines, to tell unchanged from corrected
    visit_date varchar,                 -- this and the next columns: text as written
    appliance_kind varchar,
    job_no varchar,
    customer_ref varchar,               -- keyed hash
    make varchar,
    model varchar,
    serial varchar,
    age varchar,
    complaint varchar,
    fault_code varchar,
    findings varchar,
    cause varchar,
    work_done varchar,
    parts varchar,
    outcome varchar,
    technician varchar,
    minutes varchar,
    labour_charge varchar,
    parts_cost varchar,
    callback_of varchar,
    other_columns varchar               -- JSON object of the columns the layout does not name; null = none
);

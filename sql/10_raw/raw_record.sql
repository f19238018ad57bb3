-- one row a source line, verbatim but for personal data (customer_ref is a keyed hash, contact details in free text are masked)
-- key:        record_id
-- written by: pipeline/load/load.py, append-only; of the lines in counted_record the newest batch of a visit_key is the version in force
-- Keys and hashes hardly repeat; they are not packed, which costs time at every load and saves little room.
create table if not exists raw_record (
    record_id bigint not null,          -- running number of the line
    batch_id integer not null,          -- the file load it came with
    line_no bigint not null,            -- in the file, header included, the first line is 1
    visit_key varchar using compression uncompressed not null, -- job number and date, or unit and date; equal in every version of one visit
    line_in_visit integer not null,     -- 1 but where a visit takes several lines (one line a part)
    content_hash varchar using compression uncompressed not null, -- of the whole visit's lines, to tell unchanged from corrected
    visit_date varchar,                 -- day of the visit, text as written (so are all the columns below)
    appliance_kind varchar,             -- kind of appliance, as written
    job_no varchar using compression uncompressed, -- the workshop's number, as written
    customer_ref varchar using compression uncompressed, -- keyed hash of the customer's reference
    make varchar,                       -- as written
    model varchar,                      -- as written
    serial varchar using compression uncompressed, -- as written
    age varchar,                        -- as written
    complaint varchar,                  -- what the customer says, as written, contact details masked
    fault_code varchar,                 -- code shown or lamps lit, as written
    findings varchar,                   -- what was looked at and seen, as written, contact details masked
    cause varchar,                      -- what it turned out to be, as written
    work_done varchar,                  -- as written, contact details masked
    parts varchar,                      -- parts fitted, as written
    outcome varchar,                    -- how the visit ended, as written
    technician varchar,                 -- as given, or its keyed hash
    minutes varchar,                    -- labour at the appliance, as written
    labour_charge varchar,              -- as written
    parts_cost varchar,                 -- as written
    callback_of varchar,                -- job number this visit returns to, as written
    other_columns varchar,              -- JSON object of the columns the layout does not name; null = none
    withdrawn_by integer,               -- batch of the whole history that no longer holds the visit; null = it counts
    branch varchar,                     -- workshop or branch whose job it is, as written
    photos varchar                      -- links to photographs of the visit, as written
);

-- must hold: record_id is unique
select record_id, count(*) as lines
from raw_record
group by record_id
having count(*) > 1;

-- must hold: every source line belongs to a file load
select record_id, batch_id
from raw_record
where batch_id not in (select load_batch.batch_id from load_batch);

-- one row a file load
-- key:        batch_id
-- written by: pipeline/load/load.py; a file read again with another layout keeps its number; what was taken back is
--             dropped by the next load
create table if not exists load_batch (
    batch_id integer primary key,       -- running number of the load
    file_name varchar not null,         -- path name as given, without its folder
    sha256 varchar not null,            -- of the file's bytes
    bytes bigint not null,              -- size of the file
    layout varchar not null,            -- name of the layout the lines were read with
    reading varchar not null,           -- JSON: date order, decimal marks, unit of bare durations and currency the lines were read with
    loaded_at timestamp not null,       -- when it was loaded
    lines_read bigint not null,         -- records in the file, the header not counted
    loaded bigint not null,             -- lines that are new or a new version
    unchanged bigint not null,          -- lines the database already held, word for word
    replaced bigint not null,           -- of the loaded lines: new versions of a visit held before
    rejected bigint not null,           -- lines refused, each kept in rejected_record
    mapping varchar,                    -- the layout itself, TOML; null = loaded before layouts were kept
    header varchar,                     -- JSON list of the file's column names; null = loaded before they were kept
    records_after bigint,               -- record_id of a line = this + its running number in the file; null = not kept
    taken_back_at timestamp             -- when it was taken back, until the next load; null = it counts
);

-- must hold: lines read = loaded + unchanged + rejected, and replaced lines are among the loaded
select batch_id, lines_read, loaded, unchanged, replaced, rejected
from load_batch
where lines_read is distinct from loaded + unchanged + rejected or replaced > loaded;

-- one row a file load
-- key:        batch_id
-- written by: pipeline/load.py, append-only
-- must hold:  lines_read = loaded + unchanged + rejected; replaced <= loaded
create table if not exists load_batch (
    batch_id integer primary key,
    file_name varchar not null,         -- path name as given, without its folder
    sha256 varchar not null,            -- of the file's bytes
    bytes bigint not null,
    layout varchar not null,            -- name of the layout the lines were read with
    loaded_at timestamp not null,
    lines_read bigint not null,
    loaded bigint not null,             -- lines that are new or a new version
    unchanged bigint not null,          -- lines the database already held, word for word
    replaced bigint not null,           -- of the loaded lines: new versions of a visit held before
    rejected bigint not null
);

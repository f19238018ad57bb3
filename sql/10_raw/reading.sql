-- one row: with which word lists the staged lines were read
-- key:        none, one row
-- written by: pipeline/load/stage.py
create table if not exists reading (
    edition varchar not null            -- fingerprint of the word lists, shipped and the workshop's own
);

-- must hold: the staged lines were all read with one edition of the word lists
select count(*) as editions
from reading
having count(*) > 1;

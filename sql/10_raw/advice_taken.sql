-- one row a piece of advice taken up
-- key:        advice_id
-- written by: pipeline/advice/adopted.py, append-only; what is taken back keeps its row
create table if not exists advice_taken (
    advice_id integer primary key,      -- running number, by which it is taken back
    decided_at timestamp not null,      -- when it was written down
    adopted_on date not null,           -- the day from which it is followed
    part varchar not null,              -- the part that was often not the cause
    kind varchar,                       -- kind of appliance it holds for; null = any
    make varchar,                       -- make it holds for; null = any
    complaint varchar,                  -- complaint it holds for; null = any
    code varchar,                       -- fault code it holds for; null = any
    finding varchar,                    -- "finding=value" or "finding not recorded"; null = any
    look_first varchar,                 -- the check to make before the part is fitted
    undone_at timestamp                 -- when it was taken back; null = in force
);

-- must hold: advice is in force once at most
select part, kind, make, complaint, code, finding, look_first, count(*) as times
from advice_taken
where undone_at is null
group by all
having count(*) > 1;

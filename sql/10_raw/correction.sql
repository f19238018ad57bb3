-- one row a human decision on a written word
-- key:        correction_id
-- written by: pipeline/upkeep/review.py, append-only; an undone decision keeps its row
create table if not exists correction (
    correction_id integer primary key,  -- running number of the decision
    decided_at timestamp not null,      -- when it was decided
    list varchar not null,              -- kind, complaint, finding, cause, part, outcome, make, cure
    written varchar not null,           -- the text the decision is about
    term varchar,                       -- what it means; null = it means nothing, stop asking
    undone_at timestamp                 -- when it was taken back; null = in force
);

-- one row a human decision on a written word
-- key:        correction_id
-- written by: pipeline/review.py, append-only; an undone decision keeps its row
create table if not exists correction (
    correction_id integer primary key,
    decided_at timestamp not null,
    list varchar not null,              -- kind, complaint, finding, cause, part, outcome, make, cure
    written varchar not null,           -- the text the decision is about
    term varchar,                       -- what it means; null = it means nothing, stop asking
    undone_at timestamp                 -- null = in force
);

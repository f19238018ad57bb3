-- one row a written outcome
-- key:        written
-- written by: pipeline/load/stage.py
-- term:        an outcome, or "tested ok", which the rest of the record decides
-- is_doubtful: a guess: it names two outcomes, says "?", or only that it was tested
create or replace temp table outcome_read (
    written varchar,
    term varchar,
    is_understood boolean,
    is_doubtful boolean
);

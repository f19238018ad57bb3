-- one row a cell that is masked
-- key:        none
-- written by: pipeline/load/masked_cells.py
-- masked:     what stands in its place
-- level:      how it was looked at: text, code or staff
create or replace temp table mask (
    written varchar,
    masked varchar,
    level varchar
);

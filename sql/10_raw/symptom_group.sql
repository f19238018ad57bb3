-- one row a complaint and the group of complaints that may be one fault seen twice
-- key:        symptom
-- written by: pipeline/load/stage.py, replaced as a whole
create table if not exists symptom_group (
    symptom varchar not null,           -- complaint term
    symptom_group varchar not null      -- complaints that may be one fault seen twice
);

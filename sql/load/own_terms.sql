-- one row more a term that stands in the records and on no list: the workshop's own
-- makes: term
-- key:   list, term
-- reads: stage_finding, stage_part, stage_visit, term
insert into term
select list, term, 'own'
from (
    select 'kind' as list, kind as term from stage_visit
    union
    select 'make', make from stage_visit
    union
    select 'outcome', outcome from stage_visit
    union
    select 'cause', cause from stage_visit
    union
    select 'part', part from stage_part
    union
    select 'finding', finding from stage_finding
) as own
where term is not null
    and not exists (select 1 from term as known where known.list = own.list and known.term = own.term)
order by all;

-- one row a line that is refused, with what is wrong with it and every cell as it stands in the file (c1, c2, …)
-- key:   line_no
-- reads: candidate, day_read, incoming, screened
create or replace temp table faulty as
select
    candidate.line_no,
    day_read.problem,
    day_read.remedy,
    candidate.day,
    candidate.is_ahead,
    screened.visit_date,
    screened.appliance_kind,
    candidate.has_no_unit,
    candidate.foreign_field,
    case candidate.foreign_field
        when 'labour_charge' then screened.labour_charge
        when 'parts_cost' then screened.parts_cost
        when 'parts' then screened.parts
    end as foreign_money,
    incoming.* exclude (line_no)
from candidate
inner join screened using (line_no)
inner join incoming using (line_no)
left join day_read on day_read.written = screened.visit_date
where candidate.is_refused;

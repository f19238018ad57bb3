-- one row a visit told on several lines of a file with a line a visit: the same job, day and appliance
-- key:   job_no, day
-- reads: candidate, screened
-- lines: how many
-- Only where a base_key stands on several lines is a line's hash asked for: it reads the whole line.
create or replace temp view doubled_visit as
select any_value(screened.job_no) as job_no, any_value(candidate.day) as day, count(distinct screened.line_hash) as lines
from candidate
inner join screened using (line_no)
where
    candidate.base_key in (
        select base_key
        from candidate
        group by base_key
        having count(*) > 1
    )
    and screened.job_no is not null
group by candidate.base_key, unit_of(candidate.serial_term, coalesce(plain_name(screened.appliance_kind), ''))
having count(distinct screened.line_hash) > 1;

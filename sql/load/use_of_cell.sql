-- one row more a written kind, make, outcome or cause: at how many visits it stands, and a complaint as example;
--        an outcome that is a guess counts as not understood, a make is understood as it is spelt
-- makes: use_of_word
-- key:   list, written
-- reads: cause_read, kind_read, make_read, outcome_read, visit_text
insert into use_of_word
select
    'kind' as list,
    v.appliance_kind as written,
    max(read.term) filter (read.is_understood) as term,
    count(*) as uses,
    min(v.complaint) as example
from visit_text as v
inner join kind_read on kind_read.written = v.appliance_kind
inner join kind_read as read on read.written = v.appliance_kind
group by v.appliance_kind
union all
select
    'make' as list,
    v.make as written,
    max(read.term) as term,
    count(*) as uses,
    min(v.complaint) as example
from visit_text as v
inner join kind_read on kind_read.written = v.appliance_kind
inner join make_read as read on read.written = v.make
group by v.make
union all
select
    'outcome' as list,
    v.outcome as written,
    max(read.term) filter (read.is_understood and not read.is_doubtful) as term,
    count(*) as uses,
    min(v.complaint) as example
from visit_text as v
inner join kind_read on kind_read.written = v.appliance_kind
inner join outcome_read as read on read.written = v.outcome
group by v.outcome
union all
select
    'cause' as list,
    v.cause as written,
    max(read.term) filter (read.is_understood) as term,
    count(*) as uses,
    min(v.complaint) as example
from visit_text as v
inner join kind_read on kind_read.written = v.appliance_kind
inner join cause_read as read on read.written = v.cause and read.kind = kind_read.term
group by v.cause;

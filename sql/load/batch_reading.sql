-- one row a batch: how its columns are read
-- key:   batch_id
-- reads: load_batch
-- lacks: fields its file has no column for; how such a column is read is as in the batch before that has one
create or replace temp table batch_reading as
with said as (
    select
        batch_id,
        coalesce(from_json(reading -> '$.lacks', '["varchar"]'), []) as lacks,
        coalesce(reading ->> '$.decimal_mark.labour_charge', '') as labour_mark,
        coalesce(reading ->> '$.decimal_mark.parts_cost', '') as parts_mark,
        reading ->> '$.currency' as currency,
        coalesce(reading ->> '$.bare_durations', 'minutes') as duration_unit
    from load_batch
)

select
    batch_id,
    lacks,
    coalesce(last_value(case when not contains(lacks, 'labour_charge') then labour_mark end ignore nulls) over before, '')
        as labour_mark,
    coalesce(last_value(case when not contains(lacks, 'parts_cost') then parts_mark end ignore nulls) over before, '') as parts_mark,
    currency,
    coalesce(last_value(case when not contains(lacks, 'minutes') then duration_unit end ignore nulls) over before, 'minutes')
        as duration_unit
from said
window before as (order by batch_id rows between unbounded preceding and current row);

-- one row more a visit: its written fields as values and terms; amounts without a currency are in $currency, those with a rate are
--        converted to it; an outcome that only says it was tested is a repair where a cause or a part is told, else no fault found
-- makes: stage_visit
-- key:   visit_id
-- reads: age_read, batch_reading, cause_read, kind_read, make_read, minutes_read, model_read, money_read, outcome_read, rate, serial_read, visit_text
insert into stage_visit
select
    v.visit_id,
    v.record_id,
    v.day,
    kind_read.term,
    v.job_no,
    v.customer_ref,
    make_read.term,
    model_read.model,
    model_read.family,
    serial_read.serial,
    age_read.years,
    v.complaint,
    v.findings,
    cause_read.term,
    v.cause,
    case when cause_read.term is not null then not cause_read.is_doubtful end,
    v.work_done,
    case
        when not outcome_read.is_understood or outcome_read.term is null then 'unknown'
        when outcome_read.term <> 'tested ok' then outcome_read.term
        when cause_read.term is not null and not cause_read.is_doubtful and not cause_read.is_none then 'fixed'
        when regexp_matches(v.parts, '\p{L}') and not regexp_full_match(lower(v.parts), '\P{L}*(none|nil|nothing|no|n/a|no parts?|no parts (used|fitted)|keine?|ohne)\P{L}*')
            then 'fixed'
        else 'no fault found'
    end,
    v.technician,
    minutes_read.minutes,
    labour.amount * coalesce(labour_rate.rate, 1),
    parts.amount * coalesce(parts_rate.rate, 1),
    case
        when labour_rate.rate is null and parts_rate.rate is null
            then coalesce(labour.currency, parts.currency, batch_reading.currency, $currency)
        else $currency
    end,
    v.callback_of,
    v.branch,
    v.photos
from visit_text as v
inner join kind_read on kind_read.written = v.appliance_kind
inner join batch_reading using (batch_id)
left join make_read on make_read.written = v.make
left join model_read on model_read.written = v.model
left join serial_read on serial_read.written = v.serial
left join age_read on age_read.written = v.age and age_read.day = v.day
left join cause_read on cause_read.written = v.cause and cause_read.kind = kind_read.term
left join outcome_read on outcome_read.written = v.outcome
left join minutes_read on minutes_read.written = v.minutes and minutes_read.unit = batch_reading.duration_unit
left join money_read as labour
    on labour.field = 'labour_charge' and labour.written = v.labour_charge and labour.mark = batch_reading.labour_mark
left join money_read as parts
    on parts.field = 'parts_cost' and parts.written = v.parts_cost and parts.mark = batch_reading.parts_mark
left join rate as labour_rate on labour_rate.written = coalesce(labour.currency, batch_reading.currency)
left join rate as parts_rate on parts_rate.written = coalesce(parts.currency, batch_reading.currency);

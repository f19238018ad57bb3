-- one value: the day of a visit; it ends the key, before the "|#2" of a second visit of one key
create or replace temp macro day_of(visit_key) as
right(
    case when contains(visit_key, '|#') then regexp_replace(visit_key, '\|#[0-9]+$', '') else visit_key end, 10
)::date;

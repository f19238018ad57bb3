-- one row a written word of a list: its uses, with those of this load added ($sign = 1) or taken away ($sign = -1)
-- key:     list, written
-- reads:   use_of_word, word_use
-- example: of the texts just added, where there is one
create or replace temp table all_uses as
select
    list,
    written,
    max(term) as term,
    sum(uses)::bigint as uses,
    coalesce(min(example) filter (is_new), min(example)) as example
from (
    select list, written, term, uses, example, false as is_new
    from word_use
    union all
    select list, written, term, $sign::integer * uses, example, $sign::integer > 0
    from use_of_word
) as counted
group by list, written
having sum(uses) > 0;

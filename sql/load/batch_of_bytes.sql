-- one row the newest batch in the books of the very bytes of a file, where reading them again would change nothing
-- key:   batch_id
-- reads: load_batch, rejected_record
-- Read again is what refused lines as lying far ahead by a clock 30 days off today's, or money that has a rate since.
create or replace temp table batch_of_bytes as
select batch_id, layout, loaded_at, lines_read, rejected, mapping
from load_batch
where
    sha256 = $sha
    and (layout = $label or $any)
    and taken_back_at is null
    and not exists (
        select 1
        from rejected_record
        where
            rejected_record.batch_id = load_batch.batch_id
            and (
                contains(reasons, $ahead)
                and current_localtimestamp() not between loaded_at - interval 30 day and loaded_at + interval 30 day
                or contains(reasons, $foreign)
                and coalesce(load_batch.reading->>'$.money', '') <> $money
            )
    )
order by batch_id desc
limit 1;

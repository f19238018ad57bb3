-- one row a measure, a month and a value of one dimension: a rate with what it is made of
-- key:           measure, dimension, value, month
-- reads:         first_time_fix, callback_follow_up, part_verdict, episode, follow_up
-- measure:       first time fix: of the episodes counted; callback: fixes with a return within window_days;
--                no fault found, beyond economic repair: state of the episode, of those that ended; part not on van: first attended visit
--                ended "part needed", of the episodes counted; wrong part: parts that were not the cause, of those cured or not the cause
-- dimension:     all, kind, make, model family, technician, branch, complaint, cause
-- value:         value of the dimension; null = not known
-- month:         first day of the month: of the first attended visit, of the fix (callback), of the visit (wrong part)
-- numerator:     how many
-- denominator:   of how many that are known
-- not_yet_known: left out: their follow-up is not over (wrong part: the verdict is still open)
-- rate:          numerator / denominator; null = under 10, too few for a rate
-- low:           lower end of the 95 % Wilson interval; null with the rate
-- high:          upper end of the 95 % Wilson interval; null with the rate
-- window_days:   window of first time fix, callback and wrong part, days
create or replace view episode_rate as
with
    -- one row counts for all its measures at once
    flagged as (
        select
            'episode' as of_what,
            first_time_fix.month as month,
            first_time_fix.kind as kind,
            first_time_fix.make as make,
            first_time_fix.model_family as model_family,
            first_time_fix.technician as technician,
            first_time_fix.branch as branch,
            first_time_fix.main_symptom as main_symptom,
            first_time_fix.cause as cause,
            first_time_fix.status = 'fixed first time' as is_hit,
            first_time_fix.status in ('fixed first time', 'not fixed first time') as is_known,
            first_time_fix.status = 'not yet known' as is_not_yet_known,
            first_time_fix.why = 'first visit ended: part needed' and first_time_fix.status <> 'not counted' as is_part_needed,
            episode.state <> 'no access' and not episode.is_left_truncated as is_attended,
            episode.state as state,
            episode.is_mature as is_mature
        from first_time_fix
        inner join episode on episode.episode_id = first_time_fix.episode_id
        union all
        select
            'callback' as of_what,
            cast(date_trunc('month', callback_follow_up.fix_date) as date) as month,
            callback_follow_up.kind as kind,
            callback_follow_up.make as make,
            episode.model_family as model_family,
            callback_follow_up.technician as technician,
            callback_follow_up.branch as branch,
            callback_follow_up.main_symptom as main_symptom,
            episode.cause as cause,
            coalesce(callback_follow_up.days_to_return <= follow_up.window_days, false) as is_hit,
            coalesce(callback_follow_up.days_to_return <= follow_up.window_days, false)
                or callback_follow_up.days_followed >= follow_up.window_days as is_known,
            not coalesce(callback_follow_up.days_to_return <= follow_up.window_days, false)
                and callback_follow_up.days_followed < follow_up.window_days as is_not_yet_known,
            false as is_part_needed,
            false as is_attended,
            cast(null as varchar) as state,
            false as is_mature
        from callback_follow_up
        inner join episode on episode.episode_id = callback_follow_up.episode_id
        cross join follow_up
        union all
        select
            'wrong part' as of_what,
            cast(date_trunc('month', part_verdict.visit_date) as date) as month,
            part_verdict.kind as kind,
            part_verdict.make as make,
            episode.model_family as model_family,
            part_verdict.technician as technician,
            part_verdict.branch as branch,
            part_verdict.main_symptom as main_symptom,
            episode.cause as cause,
            part_verdict.verdict = 'not the cause' as is_hit,
            part_verdict.verdict in ('cured', 'not the cause') as is_known,
            part_verdict.verdict = 'still open' as is_not_yet_known,
            false as is_part_needed,
            false as is_attended,
            cast(null as varchar) as state,
            false as is_mature
        from part_verdict
        inner join episode on episode.episode_id = part_verdict.episode_id
    ),
    tallied as (
        select
            of_what,
            month,
            case
                when grouping(kind) = 0 then 'kind'
                when grouping(make) = 0 then 'make'
                when grouping(model_family) = 0 then 'model family'
                when grouping(technician) = 0 then 'technician'
                when grouping(branch) = 0 then 'branch'
                when grouping(main_symptom) = 0 then 'complaint'
                when grouping(cause) = 0 then 'cause'
                else 'all'
            end as dimension,
            coalesce(kind, make, model_family, technician, branch, main_symptom, cause) as value,
            count(case when is_hit then 1 end) as hits,
            count(case when is_known then 1 end) as known,
            count(case when is_not_yet_known then 1 end) as not_yet_known,
            count(case when is_part_needed then 1 end) as part_needed,
            count(case when is_attended then 1 end) as attended,
            count(case when is_attended and state = 'no fault found' then 1 end) as no_fault_found,
            count(case when is_attended and state = 'beyond economic repair' then 1 end) as uneconomic,
            count(case when is_attended and state <> 'open' then 1 end) as ended,
            count(case when is_attended and state = 'open' and not is_mature then 1 end) as waiting
        from flagged
        group by grouping sets (
            (of_what, month),
            (of_what, month, kind),
            (of_what, month, make),
            (of_what, month, model_family),
            (of_what, month, technician),
            (of_what, month, branch),
            (of_what, month, main_symptom),
            (of_what, month, cause)
        )
    ),
    counted as (
        select 'first time fix' as measure, month, dimension, value, hits as numerator, known as denominator, not_yet_known
        from tallied
        where of_what = 'episode' and known + not_yet_known > 0
        union all
        select 'part not on van' as measure, month, dimension, value, part_needed, known + not_yet_known, 0
        from tallied
        where of_what = 'episode' and known + not_yet_known > 0
        union all
        select 'no fault found' as measure, month, dimension, value, no_fault_found, ended, waiting
        from tallied
        where attended > 0
        union all
        select 'beyond economic repair' as measure, month, dimension, value, uneconomic, ended, waiting
        from tallied
        where attended > 0
        union all
        select of_what as measure, month, dimension, value, hits, known, not_yet_known
        from tallied
        where of_what <> 'episode'
    ),
    shared as (
        select
            counted.*,
            counted.numerator / cast(nullif(counted.denominator, 0) as double) as share,
            1.959963984540054 * 1.959963984540054 / cast(nullif(counted.denominator, 0) as double) as z2_n
        from counted
    )
select
    shared.measure as measure,
    shared.dimension as dimension,
    case when shared.dimension = 'all' then 'all' else shared.value end as value,
    shared.month as month,
    cast(shared.numerator as bigint) as numerator,
    cast(shared.denominator as bigint) as denominator,
    cast(shared.not_yet_known as bigint) as not_yet_known,
    case when shared.denominator >= 10 then shared.share end as rate,
    case
        when shared.denominator >= 10 then greatest(0, (
            shared.share + shared.z2_n / 2 - sqrt(shared.z2_n * (shared.share * (1 - shared.share) + shared.z2_n / 4))
        ) / (1 + shared.z2_n))
    end as low,
    case
        when shared.denominator >= 10 then least(1, (
            shared.share + shared.z2_n / 2 + sqrt(shared.z2_n * (shared.share * (1 - shared.share) + shared.z2_n / 4))
        ) / (1 + shared.z2_n))
    end as high,
    follow_up.window_days as window_days
from shared
cross join follow_up;

-- must hold: no more hits than known, and every dimension adds up to all
with
    added as (
        select measure, month, dimension, sum(numerator) as numerator, sum(denominator) as denominator
        from episode_rate
        group by measure, month, dimension
    )
select added.measure, added.month, added.dimension, added.numerator, added.denominator
from added
left join added as whole on whole.measure = added.measure and whole.month = added.month and whole.dimension = 'all'
where added.numerator > added.denominator or added.denominator is distinct from whole.denominator;

-- one row a measure, a month and a value of one dimension: a rate with what it is made of
-- key:           measure, dimension, value, month
-- reads:         first_time_fix, callback_follow_up, part_verdict, episode, follow_up
-- measure:       first time fix: of the episodes counted; callback: fixes with a return within window_days;
--                no fault found, beyond economic repair: state of the episode, of those that ended; part not on van: first attended visit
--                ended "part needed", of the episodes counted; wrong part: parts that were not the cause, of those cured or not the cause
-- dimension:     all, kind, make, model family, technician, complaint, cause
-- value:         value of the dimension; null = not known
-- month:         first day of the month: of the first attended visit, of the fix (callback), of the visit (wrong part)
-- numerator:     how many
-- denominator:   of how many that are known
-- not_yet_known: left out: their follow-up is not over (wrong part: the verdict is still open)
-- rate:          numerator / denominator; null = under 10, too few for a rate
-- low:           lower end of the 95 % Wilson interval; null with the rate
-- high:          upper end of the 95 % Wilson interval; null with the rate
-- window_days:   window of first time fix, callback and wrong part, days
create or replace table episode_rate as
with
    flagged as (
        select
            'first time fix' as measure,
            month,
            kind,
            make,
            model_family,
            technician,
            main_symptom,
            cause,
            case when status = 'fixed first time' then 1 else 0 end as is_hit,
            case when status in ('fixed first time', 'not fixed first time') then 1 else 0 end as is_known,
            case when status = 'not yet known' then 1 else 0 end as is_not_yet_known
        from first_time_fix
        where status <> 'not counted'
        union all
        select
            'part not on van' as measure,
            month,
            kind,
            make,
            model_family,
            technician,
            main_symptom,
            cause,
            case when why = 'first visit ended: part needed' then 1 else 0 end as is_hit,
            1 as is_known,
            0 as is_not_yet_known
        from first_time_fix
        where status <> 'not counted'
        union all
        select
            ended.measure as measure,
            first_time_fix.month as month,
            first_time_fix.kind as kind,
            first_time_fix.make as make,
            first_time_fix.model_family as model_family,
            first_time_fix.technician as technician,
            first_time_fix.main_symptom as main_symptom,
            first_time_fix.cause as cause,
            case when episode.state = ended.measure then 1 else 0 end as is_hit,
            case when episode.state <> 'open' then 1 else 0 end as is_known,
            case when episode.state = 'open' and not episode.is_mature then 1 else 0 end as is_not_yet_known
        from first_time_fix
        inner join episode on episode.episode_id = first_time_fix.episode_id
        cross join (
            select 'no fault found' as measure
            union all
            select 'beyond economic repair' as measure
        ) as ended
        where episode.state <> 'no access' and not episode.is_left_truncated
        union all
        select
            'callback' as measure,
            cast(date_trunc('month', callback_follow_up.fix_date) as date) as month,
            callback_follow_up.kind as kind,
            callback_follow_up.make as make,
            episode.model_family as model_family,
            callback_follow_up.technician as technician,
            callback_follow_up.main_symptom as main_symptom,
            episode.cause as cause,
            case when callback_follow_up.days_to_return <= follow_up.window_days then 1 else 0 end as is_hit,
            case
                when callback_follow_up.days_to_return <= follow_up.window_days
                    or callback_follow_up.days_followed >= follow_up.window_days
                    then 1
                else 0
            end as is_known,
            case
                when callback_follow_up.days_to_return <= follow_up.window_days
                    or callback_follow_up.days_followed >= follow_up.window_days
                    then 0
                else 1
            end as is_not_yet_known
        from callback_follow_up
        inner join episode on episode.episode_id = callback_follow_up.episode_id
        cross join follow_up
        union all
        select
            'wrong part' as measure,
            cast(date_trunc('month', part_verdict.visit_date) as date) as month,
            part_verdict.kind as kind,
            part_verdict.make as make,
            episode.model_family as model_family,
            part_verdict.technician as technician,
            part_verdict.main_symptom as main_symptom,
            episode.cause as cause,
            case when part_verdict.verdict = 'not the cause' then 1 else 0 end as is_hit,
            case when part_verdict.verdict in ('cured', 'not the cause') then 1 else 0 end as is_known,
            case when part_verdict.verdict = 'still open' then 1 else 0 end as is_not_yet_known
        from part_verdict
        inner join episode on episode.episode_id = part_verdict.episode_id
    ),
    counted as (
        select
            measure,
            month,
            case
                when grouping(kind) = 0 then 'kind'
                when grouping(make) = 0 then 'make'
                when grouping(model_family) = 0 then 'model family'
                when grouping(technician) = 0 then 'technician'
                when grouping(main_symptom) = 0 then 'complaint'
                when grouping(cause) = 0 then 'cause'
                else 'all'
            end as dimension,
            coalesce(kind, make, model_family, technician, main_symptom, cause) as value,
            sum(is_hit) as numerator,
            sum(is_known) as denominator,
            sum(is_not_yet_known) as not_yet_known
        from flagged
        group by grouping sets (
            (measure, month),
            (measure, month, kind),
            (measure, month, make),
            (measure, month, model_family),
            (measure, month, technician),
            (measure, month, main_symptom),
            (measure, month, cause)
        )
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
select measure, month, dimension, sum(numerator) as numerator, sum(denominator) as denominator
from episode_rate
group by measure, month, dimension
having sum(numerator) > sum(denominator)
    or sum(denominator) is distinct from (
        select max(whole.denominator)
        from episode_rate as whole
        where whole.measure = episode_rate.measure and whole.month = episode_rate.month and whole.dimension = 'all'
    );

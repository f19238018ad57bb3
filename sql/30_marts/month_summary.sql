-- one row a month
-- key:                  month
-- reads:                visit, first_time_fix, callback_follow_up, part_verdict, follow_up
-- month:                first day of the month
-- visits:               visits made
-- no_access_visits:     of them without access
-- episodes:             episodes whose first attended visit lies in the month
-- fixed_first_time:     of them, fixed first time
-- known:                of them, known: fixed first time or not
-- not_yet_known:        of them, window not over
-- not_counted:          of them, not counted
-- fixes:                visits that ended with a fix
-- callbacks:            of them, with a return within window_days so far
-- labour_minutes:       sum over the visits, minutes
-- labour_charge:        sum over the visits, money
-- parts_cost:           sum over the visits, money
-- parts_fitted:         part lines
-- wrong_parts:          of them, not the cause
-- wrong_parts_cost:     their part, labour and further trip, money
-- wrong_parts_minutes:  their labour and further trip, minutes
-- window_days:          callback window, days
create or replace view month_summary as
with
    visited as (
        select
            cast(date_trunc('month', visit_date) as date) as month,
            count(*) as visits,
            sum(case when outcome = 'no access' then 1 else 0 end) as no_access_visits,
            sum(labour_minutes) as labour_minutes,
            sum(labour_charge) as labour_charge,
            sum(parts_cost) as parts_cost
        from visit
        group by cast(date_trunc('month', visit_date) as date)
    ),
    first_fixed as (
        select
            month,
            count(*) as episodes,
            sum(case when status = 'fixed first time' then 1 else 0 end) as fixed_first_time,
            sum(case when status in ('fixed first time', 'not fixed first time') then 1 else 0 end) as known,
            sum(case when status = 'not yet known' then 1 else 0 end) as not_yet_known,
            sum(case when status = 'not counted' then 1 else 0 end) as not_counted
        from first_time_fix
        group by month
    ),
    called_back as (
        select
            cast(date_trunc('month', callback_follow_up.fix_date) as date) as month,
            count(*) as fixes,
            sum(case when callback_follow_up.days_to_return <= follow_up.window_days then 1 else 0 end) as callbacks
        from callback_follow_up
        cross join follow_up
        group by cast(date_trunc('month', callback_follow_up.fix_date) as date)
    ),
    judged as (
        select
            cast(date_trunc('month', visit_date) as date) as month,
            count(*) as parts_fitted,
            sum(case when verdict = 'not the cause' then 1 else 0 end) as wrong_parts,
            sum(case when verdict = 'not the cause' then total_cost else 0 end) as wrong_parts_cost,
            sum(case when verdict = 'not the cause' then coalesce(labour_minutes, 0) + trip_minutes else 0 end)
                as wrong_parts_minutes
        from part_verdict
        group by cast(date_trunc('month', visit_date) as date)
    )
select
    visited.month as month,
    visited.visits as visits,
    visited.no_access_visits as no_access_visits,
    coalesce(first_fixed.episodes, 0) as episodes,
    coalesce(first_fixed.fixed_first_time, 0) as fixed_first_time,
    coalesce(first_fixed.known, 0) as known,
    coalesce(first_fixed.not_yet_known, 0) as not_yet_known,
    coalesce(first_fixed.not_counted, 0) as not_counted,
    coalesce(called_back.fixes, 0) as fixes,
    coalesce(called_back.callbacks, 0) as callbacks,
    visited.labour_minutes as labour_minutes,
    visited.labour_charge as labour_charge,
    visited.parts_cost as parts_cost,
    coalesce(judged.parts_fitted, 0) as parts_fitted,
    coalesce(judged.wrong_parts, 0) as wrong_parts,
    coalesce(judged.wrong_parts_cost, 0) as wrong_parts_cost,
    coalesce(judged.wrong_parts_minutes, 0) as wrong_parts_minutes,
    follow_up.window_days as window_days
from visited
left join first_fixed on first_fixed.month = visited.month
left join called_back on called_back.month = visited.month
left join judged on judged.month = visited.month
cross join follow_up;

-- must hold: months add up to all visits, and episodes to those judged
select counted.visits, counted.known, counted.not_yet_known, counted.not_counted, counted.episodes
from (
    select
        coalesce(sum(visits), 0) as visits,
        coalesce(sum(episodes), 0) as episodes,
        coalesce(sum(known), 0) as known,
        coalesce(sum(not_yet_known), 0) as not_yet_known,
        coalesce(sum(not_counted), 0) as not_counted
    from month_summary
) as counted
where counted.visits <> (select count(*) from visit)
    or counted.episodes <> (select count(*) from first_time_fix)
    or counted.episodes <> counted.known + counted.not_yet_known + counted.not_counted;

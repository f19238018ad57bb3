-- one row a part line: was the part the cure
-- key:             part_line_id
-- reads:           part_trace, follow_up
-- verdict:         cured: the only part, or one of those the cause needs together, at the visit that ended the complaint, follow-up over;
--                 not the cause: the complaint stayed or came back, and the cause confirmed later is not one the part cures, or the
--                 visit that ended it confirmed a cause that needs no part;
--                 fitted again: the same part went in again later in the episode;
--                 still open, for good: the cause confirmed may have brought another that the part cures;
--                 shared credit: several parts at the visit that ended the complaint; still open: nothing known yet
-- evidence:        what led to the verdict
-- is_for_review:   open only because the cure list does not know the part, the cause, or the two together
-- days_to_verdict: days from the fitting to the day this could be known: the visit that ended the complaint and its follow-up; null = not ended
-- part_cost:       cost of the part line, money; null = not known
-- labour_cost:     the line's even share of the visit's labour: the charge, else minutes at the hour rate; null = neither recorded;
--                 0 where that visit cured a cause that needs no part: then the part alone was for nothing
-- trip_cost:       the line's even share of one further trip, money; 0 unless the complaint stayed or came back
-- total_cost:      part + labour + trip, what is not known counted as 0; without the labour where the settings say that customers pay it
-- labour_minutes:  the line's even share of the visit's labour, minutes; null = not recorded; 0 as labour_cost
-- trip_minutes:    the line's even share of one further trip, minutes; 0 unless the complaint stayed or came back
-- A view: what depends on the day is worked out when it is read.
create or replace view part_verdict as
with
    reasoned as (
        select
            part_trace.part_line_id as part_line_id,
            part_trace.visit_id as visit_id,
            part_trace.episode_id as episode_id,
            part_trace.visit_date as visit_date,
            part_trace.visit_no as visit_no,
            part_trace.technician as technician,
            part_trace.branch as branch,
            part_trace.kind as kind,
            part_trace.make as make,
            part_trace.main_symptom as main_symptom,
            part_trace.fault_code as fault_code,
            part_trace.part as part,
            part_trace.ending_no as ending_no,
            part_trace.ending_date as ending_date,
            part_trace.last_fitted_no as last_fitted_no,
            part_trace.lines_at_visit as lines_at_visit,
            part_trace.parts_at_visit as parts_at_visit,
            part_trace.confirmed_cause as confirmed_cause,
            part_trace.cause_is_listed as cause_is_listed,
            part_trace.pair_is_listed as pair_is_listed,
            part_trace.cost as cost,
            part_trace.visit_labour_minutes as visit_labour_minutes,
            coalesce(part_trace.visit_labour_charge, part_trace.visit_labour_minutes / 60.0 * follow_up.hour_rate)
                as visit_labour_cost,
            datediff('day', part_trace.ending_date, follow_up.as_of) as days_followed,
            follow_up.window_days as window_days,
            follow_up.trip_cost as one_trip_cost,
            follow_up.wrong_labour_billed as wrong_labour_billed,
            follow_up.trip_minutes as one_trip_minutes,
            case
                when part_trace.reason not in ('fitted again', 'not ended')
                    and datediff('day', part_trace.ending_date, follow_up.as_of) < follow_up.window_days
                    then 'not followed'
                else part_trace.reason
            end as reason
        from part_trace
        cross join follow_up
    ),
    judged as (
        select
            reasoned.*,
            case
                when reason = 'fitted again' then 'fitted again'
                when reason = 'several parts' then 'shared credit'
                when reason = 'cured' then 'cured'
                when reason in ('not the cause', 'no part needed') then 'not the cause'
                else 'still open'
            end as verdict,
            case when reason in ('fitted again', 'not the cause') then 1.0 else 0.0 end as extra_trips,
            case when reason = 'no part needed' then 0.0 else visit_labour_cost / lines_at_visit end as line_labour_cost,
            case when reason = 'no part needed' then 0.0 else visit_labour_minutes / lines_at_visit end
                as line_labour_minutes
        from reasoned
    )
select
    judged.part_line_id as part_line_id,
    judged.visit_id as visit_id,
    judged.episode_id as episode_id,
    judged.visit_date as visit_date,
    judged.technician as technician,
    judged.branch as branch,
    judged.kind as kind,
    judged.make as make,
    judged.main_symptom as main_symptom,
    judged.fault_code as fault_code,
    judged.part as part,
    judged.verdict as verdict,
    'fitted at visit ' || cast(judged.visit_no as varchar) || '; ' || case judged.reason
        when 'fitted again' then
            'the same part went in again at visit ' || cast(judged.last_fitted_no as varchar)
        when 'not ended' then 'no visit has ended the complaint yet'
        when 'not followed' then
            'visit ' || cast(judged.ending_no as varchar) || ' ended it ' || cast(judged.days_followed as varchar)
            || ' days ago, and ' || cast(judged.window_days as varchar) || ' are needed to know'
        when 'several parts' then
            'that visit ended the complaint with ' || cast(judged.parts_at_visit as varchar) || ' different parts'
        when 'no cause' then
            'visit ' || cast(judged.ending_no as varchar) || ' ended the complaint; no confirmed cause is recorded'
        when 'cause not listed' then 'the cure list does not say what cures "' || judged.confirmed_cause || '": see review'
        when 'cured' then
            'that visit ended the complaint; confirmed cause "' || judged.confirmed_cause || '", which this part cures'
        when 'no part needed' then
            'that visit ended the complaint; confirmed cause "' || judged.confirmed_cause || '", which is cured without a part'
        when 'may be joint' then
            'that visit ended the complaint; "' || judged.confirmed_cause || '" may have brought what this part cures'
        when 'pair not listed' then
            'that visit ended the complaint; whether this part cures "' || judged.confirmed_cause || '" is not listed: see review'
        when 'right part, came back' then
            'the complaint stayed or came back; the part cures the cause confirmed later, "' || judged.confirmed_cause || '"'
        when 'part not listed' then
            'the cure list does not know this part; the cause confirmed later is "' || judged.confirmed_cause || '": see review'
        else
            'the complaint stayed or came back; visit ' || cast(judged.ending_no as varchar) || ' ended it; confirmed cause "' || judged.confirmed_cause || '", which this part does not cure'
    end as evidence,
    judged.confirmed_cause as confirmed_cause,
    judged.cause_is_listed as cause_is_listed,
    judged.pair_is_listed as pair_is_listed,
    datediff('day', judged.visit_date, judged.ending_date) + judged.window_days as days_to_verdict,
    judged.reason in ('cause not listed', 'pair not listed', 'part not listed') as is_for_review,
    judged.cost as part_cost,
    judged.line_labour_cost as labour_cost,
    judged.extra_trips * judged.one_trip_cost / judged.lines_at_visit as trip_cost,
    coalesce(judged.cost, 0)
    + case when judged.wrong_labour_billed then 0 else coalesce(judged.line_labour_cost, 0) end
    + judged.extra_trips * judged.one_trip_cost / judged.lines_at_visit as total_cost,
    judged.line_labour_minutes as labour_minutes,
    judged.extra_trips * judged.one_trip_minutes / judged.lines_at_visit as trip_minutes
from judged;

-- must hold: every part line has one verdict, spelt as agreed, with its evidence
select part_fitted.part_line_id, min(part_verdict.verdict) as verdict
from part_fitted
left join part_verdict on part_verdict.part_line_id = part_fitted.part_line_id
group by part_fitted.part_line_id
having count(part_verdict.part_line_id) <> 1
    or count(part_verdict.evidence) <> 1
    or min(part_verdict.verdict) not in ('cured', 'not the cause', 'fitted again', 'shared credit', 'still open');

-- must hold: cured is said only where the cure list says so, not the cause only where it does not
select part_line_id, verdict, part, confirmed_cause
from part_verdict
where (verdict = 'cured' and not pair_is_listed)
    or (verdict = 'not the cause' and (pair_is_listed or not cause_is_listed));

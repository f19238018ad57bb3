-- one row a part line: was the part the cure
-- key:             part_line_id
-- reads:           part_fitted, visit_result, visit, episode, cure, follow_up
-- technician:      who made the visit at which the part was fitted; null = not recorded
-- verdict:         cured: the only part, or one of those the cause needs together, at the visit that ended the complaint, follow-up over;
--                 not the cause: the complaint stayed or came back, and the cause confirmed later is not one the part cures, or the
--                 visit that ended it confirmed a cause that needs no part;
--                 fitted again: the same part went in again later in the episode;
--                 shared credit: several parts at the visit that ended the complaint; still open: nothing known yet
-- evidence:        what led to the verdict
-- confirmed_cause: cause confirmed by the visit that ended the complaint; a diagnosis that no cure has proved judges nothing; null = none
-- cause_is_listed: the cure list says what cures this cause in this kind
-- is_for_review:   open only because the cure list does not know the part, the cause, or the two together
-- days_to_verdict: days from the fitting to the day this could be known: the visit that ended the complaint and its follow-up; null = not ended
-- pair_is_listed:  the cure list says that this part cures this cause
-- part_cost:       cost of the part line, money; null = not known
-- labour_cost:     the line's even share of the visit's labour: the charge, else minutes at the hour rate; null = neither recorded;
--                 0 where that visit cured a cause that needs no part: then the part alone was for nothing
-- trip_cost:       the line's even share of one further trip, money; 0 unless the complaint stayed or came back
-- total_cost:      part + labour + trip, what is not known counted as 0; without the labour where the settings say that customers pay it
-- labour_minutes:  the line's even share of the visit's labour, minutes; null = not recorded; 0 as labour_cost
-- trip_minutes:    the line's even share of one further trip, minutes; 0 unless the complaint stayed or came back
create or replace table part_verdict as
with
    listed_cause as (
        select kind, cause, max(case when part is null then 0 else 1 end) as needs_part
        from cure
        group by kind, cause
    ),
    listed_pair as (
        select distinct kind, cause, part
        from cure
        where part is not null
    ),
    listed_part as (
        select distinct part
        from cure
        where part is not null
    ),
    part_at_visit as (
        select visit_id, part, count(*) as part_lines
        from part_fitted
        group by visit_id, part
    ),
    -- an ending that is not the visit itself is a later visit of the episode
    later_ending as (
        select visit_id, visit_no, visit_date, confirmed_cause
        from visit_result
        where visit_no > 1
    ),
    -- what all lines of a visit share
    ended as (
        select
            at_visit.visit_id as visit_id,
            at_visit.lines_at_visit as lines_at_visit,
            at_visit.parts_at_visit as parts_at_visit,
            visit_result.episode_id as episode_id,
            visit_result.visit_no as visit_no,
            visit_result.visit_date as visit_date,
            visit_result.visit_no > 1 or not visit_result.is_last as has_several,
            case
                when visit_result.ended_by_visit_id = visit_result.visit_id then visit_result.visit_no
                else later_ending.visit_no
            end as ending_no,
            case
                when visit_result.ended_by_visit_id = visit_result.visit_id then visit_result.visit_date
                else later_ending.visit_date
            end as ending_date,
            case
                when visit_result.ended_by_visit_id = visit_result.visit_id then visit_result.confirmed_cause
                else later_ending.confirmed_cause
            end as confirmed_cause
        from (
            select visit_id, cast(sum(part_lines) as bigint) as lines_at_visit, count(*) as parts_at_visit
            from part_at_visit
            group by visit_id
        ) as at_visit
        inner join visit_result on visit_result.visit_id = at_visit.visit_id
        left join later_ending on later_ending.visit_id = visit_result.ended_by_visit_id
    ),
    traced as (
        select
            ended.*,
            episode.kind as kind,
            episode.make as make,
            episode.main_symptom as main_symptom,
            episode.fault_code as fault_code,
            visit.technician as technician,
            visit.branch as branch,
            visit.labour_charge as visit_labour_charge,
            visit.labour_minutes as visit_labour_minutes,
            listed_cause.cause is not null as cause_is_listed,
            listed_cause.needs_part as needs_part
        from ended
        inner join episode on episode.episode_id = ended.episode_id
        inner join visit on visit.visit_id = ended.visit_id
        left join listed_cause
            on listed_cause.kind = episode.kind
            and listed_cause.cause = ended.confirmed_cause
    ),
    several_parts as (
        select
            traced.visit_id as visit_id,
            min(case when listed_pair.part is null then 0 else 1 end) as are_all_listed
        from traced
        inner join part_at_visit on part_at_visit.visit_id = traced.visit_id
        left join listed_pair
            on listed_pair.kind = traced.kind
            and listed_pair.cause = traced.confirmed_cause
            and listed_pair.part = part_at_visit.part
        where traced.parts_at_visit > 1 and traced.ending_no = traced.visit_no and traced.cause_is_listed
        group by traced.visit_id
    ),
    last_fitted as (
        select ended.episode_id as episode_id, part_at_visit.part as part, max(ended.visit_no) as last_fitted_no
        from ended
        inner join part_at_visit on part_at_visit.visit_id = ended.visit_id
        where ended.has_several
        group by ended.episode_id, part_at_visit.part
    ),
    looked_up as (
        select
            traced.*,
            part_fitted.part_line_id as part_line_id,
            part_fitted.part as part,
            part_fitted.cost as cost,
            last_fitted.last_fitted_no as last_fitted_no,
            coalesce(traced.visit_labour_charge, traced.visit_labour_minutes / 60.0 * follow_up.hour_rate)
                as visit_labour_cost,
            datediff('day', traced.ending_date, follow_up.as_of) as days_followed,
            follow_up.window_days as window_days,
            follow_up.trip_cost as one_trip_cost,
            follow_up.wrong_labour_billed as wrong_labour_billed,
            follow_up.trip_minutes as one_trip_minutes,
            listed_pair.part is not null as pair_is_listed,
            listed_part.part is not null as part_is_listed,
            several_parts.are_all_listed = 1 as all_parts_are_listed
        from part_fitted
        inner join traced on traced.visit_id = part_fitted.visit_id
        cross join follow_up
        left join several_parts on several_parts.visit_id = part_fitted.visit_id
        left join last_fitted
            on last_fitted.episode_id = traced.episode_id
            and last_fitted.part = part_fitted.part
        left join listed_pair
            on listed_pair.kind = traced.kind
            and listed_pair.cause = traced.confirmed_cause
            and listed_pair.part = part_fitted.part
        left join listed_part on listed_part.part = part_fitted.part
    ),
    reasoned as (
        select
            looked_up.*,
            case
                when last_fitted_no > visit_no then 'fitted again'
                when ending_no is null then 'not ended'
                when days_followed < window_days then 'not followed'
                when ending_no = visit_no and parts_at_visit > 1 and not (cause_is_listed and all_parts_are_listed)
                    then 'several parts'
                when confirmed_cause is null then 'no cause'
                when not cause_is_listed then 'cause not listed'
                when ending_no = visit_no and pair_is_listed then 'cured'
                when ending_no = visit_no and needs_part = 0 and part_is_listed then 'no part needed'
                when ending_no = visit_no then 'pair not listed'
                when pair_is_listed then 'right part, came back'
                when not part_is_listed then 'part not listed'
                else 'not the cause'
            end as reason
        from looked_up
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

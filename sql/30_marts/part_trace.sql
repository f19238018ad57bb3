-- one row a part line: what its episode says of it, as if follow-up were over
-- key:             part_line_id
-- reads:           part_fitted, visit_result, visit, episode_course, cure
-- changes by:      visit_id
-- visit_no:        of the visit at which the part was fitted, within the episode
-- technician:      who made the visit at which the part was fitted; null = not recorded
-- reason:          what decides the verdict, once follow-up is over
-- ending_no:       the visit of the episode, from this one on, that ends the complaint; null = none yet
-- ending_date:     its day
-- last_fitted_no:  the last visit of the episode at which the same part was fitted; null = the episode has one visit
-- lines_at_visit:  part lines of the visit
-- parts_at_visit:  different parts of the visit
-- confirmed_cause: cause confirmed by the visit that ended the complaint; a diagnosis that no cure has proved judges nothing; null = none
-- cause_is_listed: the cure list says what cures this cause in this kind
-- pair_is_listed:  the cure list says that this part cures this cause
-- visit_labour_charge:  of the whole visit, money; null = not recorded
-- visit_labour_minutes: of the whole visit, minutes; null = not recorded
create or replace table part_trace as
with
    listed_cause as (
        select kind, cause, max(case when part is null then 0 else 1 end) as needs_part
        from cure
        where origin <> 'joint'
        group by kind, cause
    ),
    listed_pair as (
        select distinct kind, cause, part
        from cure
        where part is not null and origin <> 'joint'
    ),
    -- what was confirmed may have brought a cause that this part cures: poor airflow trips a cut-out
    joint_pair as (
        select distinct kind, cause, part
        from cure
        where origin = 'joint'
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
            episode_course.kind as kind,
            episode_course.make as make,
            episode_course.main_symptom as main_symptom,
            episode_course.fault_code as fault_code,
            visit.technician as technician,
            visit.branch as branch,
            visit.labour_charge as visit_labour_charge,
            visit.labour_minutes as visit_labour_minutes,
            listed_cause.cause is not null as cause_is_listed,
            listed_cause.needs_part as needs_part
        from ended
        inner join episode_course on episode_course.episode_id = ended.episode_id
        inner join visit on visit.visit_id = ended.visit_id
        left join listed_cause
            on listed_cause.kind = episode_course.kind
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
            listed_pair.part is not null as pair_is_listed,
            joint_pair.part is not null as is_joint,
            listed_part.part is not null as part_is_listed,
            several_parts.are_all_listed = 1 as all_parts_are_listed
        from part_fitted
        inner join traced on traced.visit_id = part_fitted.visit_id
        left join several_parts on several_parts.visit_id = part_fitted.visit_id
        left join last_fitted
            on last_fitted.episode_id = traced.episode_id
            and last_fitted.part = part_fitted.part
        left join listed_pair
            on listed_pair.kind = traced.kind
            and listed_pair.cause = traced.confirmed_cause
            and listed_pair.part = part_fitted.part
        left join joint_pair
            on joint_pair.kind = traced.kind
            and joint_pair.cause = traced.confirmed_cause
            and joint_pair.part = part_fitted.part
        left join listed_part on listed_part.part = part_fitted.part
    ),
    reasoned as (
        select
            looked_up.*,
            case
                when last_fitted_no > visit_no then 'fitted again'
                when ending_no is null then 'not ended'
                when ending_no = visit_no and parts_at_visit > 1 and not (cause_is_listed and all_parts_are_listed)
                    then 'several parts'
                when confirmed_cause is null then 'no cause'
                when not cause_is_listed then 'cause not listed'
                when ending_no = visit_no and pair_is_listed then 'cured'
                when ending_no = visit_no and is_joint then 'may be joint'
                when ending_no = visit_no and needs_part = 0 and part_is_listed then 'no part needed'
                when ending_no = visit_no then 'pair not listed'
                when pair_is_listed then 'right part, came back'
                when not part_is_listed then 'part not listed'
                else 'not the cause'
            end as reason
        from looked_up
    )
select
    reasoned.part_line_id as part_line_id,
    reasoned.visit_id as visit_id,
    reasoned.episode_id as episode_id,
    reasoned.visit_date as visit_date,
    reasoned.visit_no as visit_no,
    reasoned.technician as technician,
    reasoned.branch as branch,
    reasoned.kind as kind,
    reasoned.make as make,
    reasoned.main_symptom as main_symptom,
    reasoned.fault_code as fault_code,
    reasoned.part as part,
    reasoned.reason as reason,
    reasoned.ending_no as ending_no,
    reasoned.ending_date as ending_date,
    reasoned.last_fitted_no as last_fitted_no,
    reasoned.lines_at_visit as lines_at_visit,
    reasoned.parts_at_visit as parts_at_visit,
    reasoned.confirmed_cause as confirmed_cause,
    reasoned.cause_is_listed as cause_is_listed,
    reasoned.pair_is_listed as pair_is_listed,
    reasoned.cost as cost,
    reasoned.visit_labour_charge as visit_labour_charge,
    reasoned.visit_labour_minutes as visit_labour_minutes
from reasoned;

-- must hold: every part line is traced once
select part_line_id
from (
    select part_line_id, 1 as traced from part_trace where reason is not null
    union all
    select part_line_id, -1 as traced from part_fitted
) as lines
group by part_line_id
having sum(traced) <> 0 or count(*) <> 2;

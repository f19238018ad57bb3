-- one row a cured episode with its confirmed cause, follow-up over or not
-- key:              episode_id
-- reads:            episode_course, episode_visit, visit, visit_result, visit_symptom, visit_finding
-- changes by:       episode_id
-- symptoms:         complaints told up to the cure, not negated, in alphabetical order
-- codes:            fault codes shown up to the cure
-- findings:         finding=value, sure ones, up to the visit that ended the first complaint; of two values the last seen
-- complaint:        text of the first visit's complaint, as it stands in the record: no later visit's text, none of findings
--                   or work done; null = none
-- cause:            confirmed cause
-- job_no:           of the visit that ended the first complaint, or the episode's first; null = none
create or replace table cured_cause as
with
    example as (
        select
            episode_course.episode_id as episode_id,
            first_result.ended_by_visit_id as ending_visit_id,
            visit.job_no as job_no,
            visit.complaint as complaint
        from episode_course
        inner join visit_result as first_result on first_result.visit_id = episode_course.episode_id
        inner join visit on visit.visit_id = episode_course.episode_id
        where episode_course.state = 'cured' and episode_course.cause is not null
            and first_result.ended_by_visit_id is not null
    ),
    -- most complaints end at the first visit, which tells each of its words once
    ended_later as (
        select
            example.episode_id as episode_id,
            example.ending_visit_id as ending_visit_id,
            episode_visit.visit_id as visit_id,
            episode_visit.visit_no as visit_no
        from example
        inner join visit_result as ending on ending.visit_id = example.ending_visit_id
        inner join episode_visit
            on episode_visit.episode_id = example.episode_id
            and episode_visit.visit_no <= ending.visit_no
        where example.ending_visit_id <> example.episode_id
    ),
    later_job as (
        select example.episode_id as episode_id, visit.job_no as job_no
        from example
        inner join visit on visit.visit_id = example.ending_visit_id
        where example.ending_visit_id <> example.episode_id
    ),
    told as (
        select
            visit_symptom.visit_id as episode_id,
            visit_symptom.source as source,
            visit_symptom.symptom as symptom
        from visit_symptom
        inner join example
            on example.episode_id = visit_symptom.visit_id
            and example.ending_visit_id = visit_symptom.visit_id
        where not visit_symptom.is_negated
        union all
        select distinct
            ended_later.episode_id as episode_id,
            visit_symptom.source as source,
            visit_symptom.symptom as symptom
        from visit_symptom
        inner join ended_later on ended_later.visit_id = visit_symptom.visit_id
        where not visit_symptom.is_negated
    ),
    seen as (
        select
            visit_finding.visit_id as episode_id,
            visit_finding.finding || '=' || min(visit_finding.value) as finding
        from visit_finding
        inner join example
            on example.episode_id = visit_finding.visit_id
            and example.ending_visit_id = visit_finding.visit_id
        where not visit_finding.is_doubtful
        group by visit_finding.visit_id, visit_finding.finding
        union all
        select episode_id, finding || '=' || value as finding
        from (
            select
                ended_later.episode_id as episode_id,
                visit_finding.finding as finding,
                visit_finding.value as value,
                row_number() over (
                    partition by ended_later.episode_id, visit_finding.finding
                    order by ended_later.visit_no desc, visit_finding.value
                ) as place
            from visit_finding
            inner join ended_later on ended_later.visit_id = visit_finding.visit_id
            where not visit_finding.is_doubtful
        ) as seen_at
        where place = 1
    ),
    listed as (
        select
            episode_id,
            list_sort(array_agg(word) filter (where source = 'complaint')) as symptoms,
            list_sort(array_agg(word) filter (where source = 'code')) as codes,
            list_sort(array_agg(word) filter (where source = 'finding')) as findings
        from (
            select episode_id, source, symptom as word
            from told
            union all
            select episode_id, 'finding' as source, finding as word
            from seen
        ) as words
        group by episode_id
    )
select
    episode_course.episode_id as episode_id,
    episode_course.kind as kind,
    episode_course.make as make,
    episode_course.model_family as model_family,
    episode_course.age_years as age_years,
    coalesce(listed.symptoms, cast([] as varchar[])) as symptoms,
    coalesce(listed.codes, cast([] as varchar[])) as codes,
    coalesce(listed.findings, cast([] as varchar[])) as findings,
    example.complaint as complaint,
    episode_course.cause as cause,
    episode_course.cure_date as cure_date,
    episode_course.first_visit_date as first_visit_date,
    episode_course.visits as visits,
    episode_course.labour_minutes as labour_minutes,
    episode_course.labour_charge as labour_charge,
    episode_course.parts_cost as parts_cost,
    coalesce(later_job.job_no, example.job_no) as job_no
from episode_course
inner join example on example.episode_id = episode_course.episode_id
left join later_job on later_job.episode_id = episode_course.episode_id
left join listed on listed.episode_id = episode_course.episode_id;

-- must hold: an example is one cured episode with a cause
select cured_cause.episode_id
from cured_cause
left join episode_course on episode_course.episode_id = cured_cause.episode_id
group by cured_cause.episode_id
having count(*) <> 1
    or min(case when episode_course.state = 'cured' and cured_cause.cause is not null then 1 else 0 end) <> 1;

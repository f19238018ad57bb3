-- one row a cured episode, follow-up over, with its confirmed cause: what a cause model learns from
-- key:              episode_id
-- reads:            episode, episode_visit, visit, visit_result, visit_symptom, visit_finding
-- symptoms:         complaints told up to the cure, not negated, in alphabetical order
-- codes:            fault codes shown up to the cure
-- findings:         finding=value, sure ones, up to the visit that ended the first complaint; of two values the last seen
-- cause:            confirmed cause
-- job_no:           of the visit that ended the first complaint, or the episode's first; null = none
create or replace table cause_example as
with
    example as (
        select
            episode.*,
            ending.visit_no as ending_no,
            coalesce(ending_visit.job_no, first_visit.job_no) as job_no
        from episode
        inner join visit_result as first_result on first_result.visit_id = episode.episode_id
        inner join visit_result as ending on ending.visit_id = first_result.ended_by_visit_id
        inner join visit as ending_visit on ending_visit.visit_id = ending.visit_id
        inner join visit as first_visit on first_visit.visit_id = episode.episode_id
        where episode.state = 'cured' and episode.is_mature and episode.cause is not null
    ),
    told as (
        select distinct
            example.episode_id as episode_id,
            visit_symptom.source as source,
            visit_symptom.symptom as symptom
        from example
        inner join episode_visit
            on episode_visit.episode_id = example.episode_id
            and episode_visit.visit_no <= example.ending_no
        inner join visit_symptom on visit_symptom.visit_id = episode_visit.visit_id
        where not visit_symptom.is_negated
    ),
    symptom_list as (
        select
            episode_id,
            list_sort(array_agg(symptom) filter (where source = 'complaint')) as symptoms,
            list_sort(array_agg(symptom) filter (where source = 'code')) as codes
        from told
        group by episode_id
    ),
    seen as (
        select
            example.episode_id as episode_id,
            visit_finding.finding || '=' || visit_finding.value as finding,
            row_number() over (
                partition by example.episode_id, visit_finding.finding
                order by episode_visit.visit_no desc, visit_finding.value
            ) as place
        from example
        inner join episode_visit
            on episode_visit.episode_id = example.episode_id
            and episode_visit.visit_no <= example.ending_no
        inner join visit_finding on visit_finding.visit_id = episode_visit.visit_id
        where not visit_finding.is_doubtful
    ),
    finding_list as (
        select episode_id, list_sort(array_agg(finding)) as findings
        from seen
        where place = 1
        group by episode_id
    )
select
    example.episode_id as episode_id,
    example.kind as kind,
    example.make as make,
    example.model_family as model_family,
    example.age_years as age_years,
    coalesce(symptom_list.symptoms, cast([] as varchar[])) as symptoms,
    coalesce(symptom_list.codes, cast([] as varchar[])) as codes,
    coalesce(finding_list.findings, cast([] as varchar[])) as findings,
    example.cause as cause,
    example.cure_date as cure_date,
    example.first_visit_date as first_visit_date,
    example.visits as visits,
    example.labour_minutes as labour_minutes,
    example.parts_cost as parts_cost,
    example.job_no as job_no
from example
left join symptom_list on symptom_list.episode_id = example.episode_id
left join finding_list on finding_list.episode_id = example.episode_id;

-- must hold: an example is one cured episode with its follow-up over and a cause
select cause_example.episode_id
from cause_example
left join episode on episode.episode_id = cause_example.episode_id
group by cause_example.episode_id
having count(*) <> 1
    or min(case when episode.is_mature and episode.state = 'cured' and cause_example.cause is not null then 1 else 0 end) <> 1;

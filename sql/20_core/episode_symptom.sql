-- one row an episode of which a complaint or a code is told: the one it goes by
-- key:          episode_id
-- reads:        episode_visit, visit_symptom, symptom_order
-- changes by:   episode_id
-- main_symptom: complaint of the first visit that has one, sure before doubtful, "lamps or code shown" only if nothing else; null = none told
-- fault_code:   code of the first visit that has one; null = none shown
-- Apart from the rest of an episode, whose rows are wide: joined in one statement they outgrow the memory of a load.
create or replace table episode_symptom as
with
    -- most episodes are one visit: only later visits are looked up
    later as (
        select visit_id, episode_id, visit_no
        from episode_visit
        where visit_no > 1
    ),
    -- symptoms by number, for the smallest of whole numbers is found much sooner than the first of texts
    placed as (
        select
            coalesce(later.episode_id, visit_symptom.visit_id) as episode_id,
            visit_symptom.source as source,
            (
                case when visit_symptom.symptom_group = 'display' then 1000000 else 0 end
                + coalesce(later.visit_no, 1) * 2
                + case when visit_symptom.is_doubtful then 1 else 0 end
            ) * 1000000000 + symptom_order.symptom_no as place
        from visit_symptom
        inner join symptom_order on symptom_order.symptom = visit_symptom.symptom
        left join later on later.visit_id = visit_symptom.visit_id
        where not visit_symptom.is_negated
    ),
    first_told as (
        select
            episode_id,
            min(case when source = 'complaint' then place end) % 1000000000 as symptom_no,
            min(case when source = 'code' then place end) % 1000000000 as code_no
        from placed
        group by episode_id
    )
select
    first_told.episode_id as episode_id,
    complaint.symptom as main_symptom,
    code.symptom as fault_code
from first_told
left join symptom_order as complaint on complaint.symptom_no = first_told.symptom_no
left join symptom_order as code on code.symptom_no = first_told.code_no;

-- must hold: episode_id is unique, and is an episode's first visit
select episode_symptom.episode_id, count(*) as times
from episode_symptom
left join episode_visit on episode_visit.visit_id = episode_symptom.episode_id and episode_visit.visit_no = 1
group by episode_symptom.episode_id
having count(*) > 1 or count(episode_visit.visit_id) = 0;

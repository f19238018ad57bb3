"""What the workshop's own records say about a call: similar jobs, what was found, minutes, prices, how it ended."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from models.likelihood import Likelihoods
    from pipeline.question import Question
    from pipeline.trade import Trade

FEW = 30
SHOWN_JOBS = 5
MOST_ALIKE = 50  # jobs of a cause that a quote rests on; more of them would be older or less alike

ASKED = """
with
asked as (
    select
        unnest($number::integer[]) as number,
        unnest($kind::varchar[]) as kind,
        unnest($symptoms::varchar[][]) as symptoms,
        unnest($codes::varchar[][]) as codes,
        unnest($findings::varchar[][]) as findings,
        unnest($looked::varchar[][]) as looked
),
asked_term as (
    select distinct number, kind, false as is_code, unnest(symptoms) as term from asked
    union all
    select distinct number, kind, true, unnest(codes) from asked
),
kind_job as (select * from cause_example where kind in (select kind from asked)),
job_term as (
    select distinct episode_id, kind, false as is_code, unnest(symptoms) as term from kind_job
    union all
    select distinct episode_id, kind, true, unnest(codes) from kind_job
),
same_complaint as (
    select distinct
        asked_term.number,
        job_term.episode_id
    from asked_term
    join job_term using (kind, is_code, term)
)
"""

SIMILAR = (
    ASKED
    + """,
alike as (
    select number, episode_id from same_complaint
    union all
    select asked.number, kind_job.episode_id
    from asked
    join kind_job using (kind)
    where len(asked.symptoms) = 0 and len(asked.codes) = 0
),
compared as (
    select
        alike.number,
        kind_job.cause,
        kind_job.job_no,
        kind_job.cure_date,
        kind_job.labour_minutes,
        kind_job.parts_cost,
        kind_job.episode_id,
        coalesce(len(list_intersect(kind_job.findings, asked.findings)), 0) as agreeing
    from alike
    join asked using (number)
    join kind_job using (episode_id)
    where len(asked.looked) = 0
        or coalesce(len(
            list_filter(
                kind_job.findings,
                lambda f: list_contains(asked.looked, split_part(f, '=', 1)) and not list_contains(asked.findings, f)
            )
        ), 0) = 0
)
select
    number,
    cause,
    job_no,
    cure_date,
    labour_minutes,
    parts_cost,
    agreeing,
    count(*) over (partition by number, cause) as jobs
from compared
qualify row_number() over (partition by number, cause order by agreeing desc, cure_date desc, episode_id) <= $most
order by number, agreeing desc, cure_date desc, episode_id
"""
)

COMPLAINT_JOBS = (
    ASKED
    + """
select
    same_complaint.number,
    kind_job.cause,
    count(*) as jobs
from same_complaint
join kind_job using (episode_id)
group by all
order by all
"""
)

ENDINGS = """
with
asked as (
    select
        unnest($number::integer[]) as number,
        unnest($kind::varchar[]) as kind,
        unnest($symptoms::varchar[][]) as symptoms,
        unnest($age::double[]) as age
),
ended as (
    select
        kind,
        main_symptom,
        age_years,
        state = 'beyond economic repair' as is_beyond_repair
    from episode
    where kind in (select kind from asked) and state in ('cured', 'beyond economic repair')
)
select
    asked.number,
    count(*) filter (where ended.is_beyond_repair) as beyond_repair,
    count(*) as known
from asked
join ended using (kind)
where (len(asked.symptoms) = 0 or list_contains(asked.symptoms, ended.main_symptom))
    and (asked.age is null or ended.age_years between asked.age - 2 and asked.age + 2)
group by asked.number
order by asked.number
"""

FINDINGS = """
with
one_finding as (
    select
        kind,
        cause,
        visits = 1 and labour_minutes > 0 as is_timed,
        unnest(findings) as seen
    from cause_example
    where kind in (select unnest($kinds::varchar[]))
)
select
    kind,
    cause,
    split_part(seen, '=', 1) as finding,
    substr(seen, instr(seen, '=') + 1) as value,
    count(*) as jobs,
    count(*) filter (where is_timed) as timed_jobs
from one_finding
group by all
order by all
"""

CAUSES = """
select
    kind,
    cause,
    count(*) as jobs,
    count(*) filter (where visits = 1 and labour_minutes > 0) as timed_jobs,
    avg(labour_minutes) filter (where visits = 1 and labour_minutes > 0) as minutes
from cause_example
where kind in (select unnest($kinds::varchar[]))
group by kind, cause
order by kind, cause
"""

PRICES = """
select
    visit.kind,
    part_fitted.part,
    count(*) as jobs,
    median(part_fitted.unit_cost) as price
from part_fitted
join visit using (visit_id)
where visit.kind in (select unnest($kinds::varchar[])) and part_fitted.unit_cost > 0
group by visit.kind, part_fitted.part
order by visit.kind, part_fitted.part
"""

CURED_BY = """
select
    verdict.kind,
    verdict.confirmed_cause as cause,
    verdict.part,
    count(*) as jobs
from part_verdict as verdict
where verdict.kind in (select unnest($kinds::varchar[]))
    and verdict.verdict = 'cured'
    and verdict.confirmed_cause is not null
group by all
order by kind, cause, jobs desc, part
"""


@dataclass(frozen=True)
class KindRecords:
    """What is on record for one kind of appliance.

    Attributes
    ----------
    likelihoods
        Outcomes of checks under each cause, the word lists' expectations included.
    minutes
        cause → jobs cured in one visit, their mean minutes, and the mean minutes the word lists give their checks.
    prices
        part → jobs, median price paid.
    cured_by
        cause → the part confirmed most often to cure it.
    cause_jobs
        cause → cured jobs.
    """

    likelihoods: Likelihoods
    minutes: Mapping[str, tuple[int, float, float]]
    prices: Mapping[str, tuple[int, float]]
    cured_by: Mapping[str, str]
    cause_jobs: Mapping[str, int]


@dataclass(frozen=True)
class Evidence:
    """The jobs like one call.

    Attributes
    ----------
    of_kind
        What is on record for its kind of appliance.
    similar
        Cured jobs of the kind with a shared complaint or code, whose findings do not contradict what was seen; best
        first, of each cause the ``MOST_ALIKE`` most alike: cause, job_no, cure_date, labour_minutes, parts_cost,
        agreeing.
    similar_jobs
        cause → how many such jobs there are.
    same_complaint_jobs
        cause → cured jobs with a shared complaint or code, whatever was found.
    beyond_repair
        Of how many similar episodes with a known end were beyond economic repair: (count, of).
    """

    of_kind: KindRecords
    similar: pd.DataFrame
    similar_jobs: Mapping[str, int]
    same_complaint_jobs: Mapping[str, int]
    beyond_repair: tuple[int, int]


def gather(
    connection: duckdb.DuckDBPyConnection, questions: Sequence[Question], trades: Mapping[str, Trade]
) -> list[Evidence]:
    """Read what is on record for each question; questions that ask the same share one answer.

    Parameters
    ----------
    connection
        A workshop database whose marts are built.
    questions
        The calls.
    trades
        The word lists of every kind asked about.
    """
    of_kind = _kinds(connection, trades)
    keys = [_key(question) for question in questions]
    asked = dict(zip(reversed(keys), reversed(questions), strict=True))
    numbers = {key: number for number, key in enumerate(asked)}
    bound = _bound(list(asked.values()))
    rows = connection.execute(SIMILAR, {**bound, "most": MOST_ALIKE}).df()
    similar = [
        (dict(zip(part["cause"], part["jobs"].tolist(), strict=True)), part.drop(columns=["number", "jobs"]))
        for part in _by_number(rows, len(numbers))
    ]
    complaints: list[dict[str, int]] = [{} for _ in numbers]
    for number, cause, jobs in connection.execute(COMPLAINT_JOBS, bound).fetchall():
        complaints[number][cause] = jobs
    ages = {key: value for key, value in _bound(questions).items() if key in ("number", "kind", "symptoms")}
    ages["age"] = [question.age_years for question in questions]
    endings = {number: (beyond, known) for number, beyond, known in connection.execute(ENDINGS, ages).fetchall()}
    return [
        Evidence(
            of_kind=of_kind[question.kind],
            similar=similar[numbers[key]][1],
            similar_jobs=similar[numbers[key]][0],
            same_complaint_jobs=complaints[numbers[key]],
            beyond_repair=endings.get(position, (0, 0)),
        )
        for position, (key, question) in enumerate(zip(keys, questions, strict=True))
    ]


def _key(question: Question) -> tuple[Any, ...]:
    return question.kind, question.symptoms, question.codes, tuple(sorted(question.findings.items()))


def _bound(questions: Sequence[Question]) -> dict[str, Any]:
    """Values that the queries about calls bind, one list a column."""
    return {
        "number": list(range(len(questions))),
        "kind": [question.kind for question in questions],
        "symptoms": [list(question.symptoms) for question in questions],
        "codes": [list(question.codes) for question in questions],
        "findings": [[f"{finding}={value}" for finding, value in q.findings.items()] for q in questions],
        "looked": [list(question.findings) for question in questions],
    }


def _by_number(rows: pd.DataFrame, count: int) -> list[pd.DataFrame]:
    """Rows in order of their number, cut into one frame a number."""
    import numpy as np

    ends = np.searchsorted(rows["number"].to_numpy(), np.arange(count + 1))
    return [rows.iloc[ends[k] : ends[k + 1]].reset_index(drop=True) for k in range(count)]


def _kinds(connection: duckdb.DuckDBPyConnection, trades: Mapping[str, Trade]) -> dict[str, KindRecords]:
    """Read what is on record for every kind asked about, each table once."""
    from models.likelihood import learn

    kinds = {"kinds": list(trades)}
    findings = connection.execute(FINDINGS, kinds).df()
    looked = _minutes_of_checks(findings.itertuples(index=False, name=None), trades)
    minutes: dict[str, dict[str, tuple[int, float, float]]] = {kind: {} for kind in trades}
    jobs: dict[str, dict[str, int]] = {kind: {} for kind in trades}
    for kind, cause, count, timed, mean in connection.execute(CAUSES, kinds).fetchall():
        jobs[kind][cause] = count
        if timed:
            minutes[kind][cause] = int(timed), float(mean), looked.get((kind, cause), 0.0) / timed
    prices: dict[str, dict[str, tuple[int, float]]] = {kind: {} for kind in trades}
    for kind, part, count, paid in connection.execute(PRICES, kinds).fetchall():
        prices[kind][part] = int(count), float(paid)
    cured_by: dict[str, dict[str, str]] = {kind: {} for kind in trades}
    for kind, cause, part, _ in connection.execute(CURED_BY, kinds).fetchall():
        cured_by[kind].setdefault(cause, part)
    return {
        kind: KindRecords(
            learn(findings[findings["kind"] == kind], trade.expected),
            minutes[kind],
            prices[kind],
            cured_by[kind],
            jobs[kind],
        )
        for kind, trade in trades.items()
    }


def _minutes_of_checks(rows: Iterable[tuple[Any, ...]], trades: Mapping[str, Trade]) -> dict[tuple[str, str], float]:
    """(kind, cause) → minutes the word lists give the checks made in its timed jobs, all jobs together."""
    listed = {(kind, card.finding): card.minutes for kind, trade in trades.items() for card in trade.checks}
    total: dict[tuple[str, str], float] = {}
    for kind, cause, finding, _, _, timed in rows:
        total[kind, cause] = total.get((kind, cause), 0.0) + timed * listed.get((kind, finding), 0.0)
    return total

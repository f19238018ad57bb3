"""What the workshop's own records say about a call: similar jobs, what was found, minutes, prices, how it ended."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from pipeline.question import Question

FEW = 30
SHOWN_JOBS = 5

SIMILAR = """
with
same_complaint as (
    select
        episode_id,
        cause,
        job_no,
        cure_date,
        labour_minutes,
        parts_cost,
        findings
    from cause_example
    where kind = $kind
      and (
          list_has_any(symptoms, $symptoms::varchar[])
          or list_has_any(codes, $codes::varchar[])
          or (len($symptoms::varchar[]) = 0 and len($codes::varchar[]) = 0)
      )
),
compared as (
    select
        *,
        coalesce(len(list_intersect(findings, $findings::varchar[])), 0) as agreeing,
        coalesce(len(
            list_filter(
                findings,
                lambda f: list_contains($looked::varchar[], split_part(f, '=', 1))
                and not list_contains($findings::varchar[], f)
            )
        ), 0) as against
    from same_complaint
)
select
    cause,
    job_no,
    cure_date,
    labour_minutes,
    parts_cost,
    agreeing
from compared
where against = 0
order by agreeing desc, cure_date desc, episode_id
"""

FINDINGS = """
with
one_finding as (
    select
        cause,
        unnest(findings) as seen
    from cause_example
    where kind = $kind
)
select
    cause,
    split_part(seen, '=', 1) as finding,
    substr(seen, instr(seen, '=') + 1) as value,
    count(*) as jobs
from one_finding
group by all
order by all
"""

MINUTES = """
select
    cause,
    count(*) as jobs,
    avg(labour_minutes) as minutes,
    avg(
        list_sum(
            list_transform(
                findings,
                lambda f: coalesce(map($checks::varchar[], $minutes::double[])[split_part(f, '=', 1)], 0)
            )
        )
    ) as check_minutes
from cause_example
where kind = $kind and visits = 1 and labour_minutes > 0
group by cause
order by cause
"""

PRICES = """
select
    part_fitted.part,
    count(*) as jobs,
    median(part_fitted.unit_cost) as price
from part_fitted
join visit using (visit_id)
where visit.kind = $kind and part_fitted.unit_cost > 0
group by part_fitted.part
order by part_fitted.part
"""

CURED_BY = """
select
    verdict.confirmed_cause as cause,
    verdict.part,
    count(*) as jobs
from part_verdict as verdict
where verdict.kind = $kind and verdict.verdict = 'cured' and verdict.confirmed_cause is not null
group by all
order by cause, jobs desc, part
"""

CAUSE_JOBS = """
select
    cause,
    count(*) as jobs
from cause_example
where kind = $kind
group by cause
order by cause
"""

COMPLAINT_JOBS = """
select
    cause,
    count(*) as jobs
from cause_example
where kind = $kind
  and (list_has_any(symptoms, $symptoms::varchar[]) or list_has_any(codes, $codes::varchar[]))
group by cause
order by cause
"""

ENDINGS = """
select
    count(*) as known,
    count(*) filter (where state = 'beyond economic repair') as beyond_repair
from episode
where kind = $kind
  and state in ('cured', 'beyond economic repair')
  and (len($symptoms::varchar[]) = 0 or list_contains($symptoms::varchar[], main_symptom))
  and ($age::double is null or age_years between $age::double - 2 and $age::double + 2)
"""


@dataclass(frozen=True)
class Evidence:
    """Frames about one kind of appliance, and the jobs like the one asked about.

    Attributes
    ----------
    similar
        Cured jobs of the kind with a shared complaint or code, whose findings do not contradict what was seen; best
        first: cause, job_no, cure_date, labour_minutes, parts_cost, agreeing.
    findings
        cause, finding, value, jobs.
    minutes
        cause → jobs cured in one visit, their mean minutes, and the mean minutes the word lists give their checks.
    prices
        part → jobs, median price paid.
    cured_by
        cause → the part confirmed most often to cure it.
    cause_jobs, same_complaint_jobs
        cause → cured jobs of this kind; and those with a shared complaint or code, whatever was found.
    beyond_repair
        Of how many similar episodes with a known end were beyond economic repair: (count, of).
    """

    similar: pd.DataFrame
    findings: pd.DataFrame
    minutes: Mapping[str, tuple[int, float, float]]
    prices: Mapping[str, tuple[int, float]]
    cured_by: Mapping[str, str]
    cause_jobs: Mapping[str, int]
    same_complaint_jobs: Mapping[str, int]
    beyond_repair: tuple[int, int]


def gather(connection: duckdb.DuckDBPyConnection, question: Question, check_minutes: Mapping[str, float]) -> Evidence:
    """Read what is on record for a question.

    Parameters
    ----------
    connection
        A workshop database whose marts are built.
    question
        The call.
    check_minutes
        Finding → minutes of the check that gives it.
    """
    kind = {"kind": question.kind}
    return Evidence(
        similar=similar_jobs(connection, question),
        findings=connection.execute(FINDINGS, kind).df(),
        minutes={
            cause: (int(jobs), float(mean), float(checks or 0))
            for cause, jobs, mean, checks in connection.execute(
                MINUTES, {**kind, "checks": list(check_minutes), "minutes": list(check_minutes.values())}
            ).fetchall()
        },
        prices={part: (int(n), float(paid)) for part, n, paid in connection.execute(PRICES, kind).fetchall()},
        cured_by={cause: part for cause, part, _ in reversed(connection.execute(CURED_BY, kind).fetchall())},
        cause_jobs=dict(connection.execute(CAUSE_JOBS, kind).fetchall()),
        same_complaint_jobs=dict(connection.execute(COMPLAINT_JOBS, complaint(question)).fetchall()),
        beyond_repair=_endings(connection, question),
    )


def similar_jobs(connection: duckdb.DuckDBPyConnection, question: Question) -> pd.DataFrame:
    """Cured jobs like this one: cause, job_no, cure_date, labour_minutes, parts_cost, agreeing (findings in common)."""
    return connection.execute(
        SIMILAR,
        {
            **complaint(question),
            "findings": [f"{finding}={value}" for finding, value in question.findings.items()],
            "looked": list(question.findings),
        },
    ).df()


def complaint(question: Question) -> dict[str, Any]:
    """Values that the queries about a complaint bind."""
    return {"kind": question.kind, "symptoms": list(question.symptoms), "codes": list(question.codes)}


def _endings(connection: duckdb.DuckDBPyConnection, question: Question) -> tuple[int, int]:
    known, beyond = connection.execute(
        ENDINGS, {"kind": question.kind, "symptoms": list(question.symptoms), "age": question.age_years}
    ).fetchall()[0]
    return int(beyond), int(known)

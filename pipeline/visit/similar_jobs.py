"""What the workshop's own records say about a call: similar jobs, what was found, minutes, prices, how it ended."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from pipeline.store.cache import each_while_unchanged

if TYPE_CHECKING:
    import duckdb
    import numpy as np

    from models.plan.likelihood import Likelihoods
    from pipeline.call.question import Question
    from pipeline.store.database import Database
    from pipeline.words.appliance import Trade

FEW = 30
SHOWN_JOBS = 5
MOST_ALIKE = 50  # jobs of a cause that a quote rests on; more of them would be older or less alike

SIMILAR = """
with
asked as (
    select
        unnest($number::integer[]) as number,
        unnest($kind::varchar[]) as kind,
        unnest($terms::varchar[][]) as terms,
        unnest($findings::varchar[][]) as findings,
        unnest($looked::varchar[][]) as looked
),
wanted as (select number, kind, unnest(terms) as term from asked),
shown as (
    select kind, episode_id, unnest(list_concat(symptoms, list_transform(codes, lambda code: '#' || code))) as term
    from cause_example
    where kind in (select kind from wanted)
),
met as (
    select distinct wanted.number, shown.episode_id
    from shown
    join wanted using (kind, term)
    union all
    select asked.number, job.episode_id
    from asked
    join cause_example as job using (kind)
    where len(asked.terms) = 0
),
alike as (
    select met.number, job.episode_id, job.cause, job.cure_date, 0 as agreeing
    from met
    join asked using (number)
    join cause_example as job using (episode_id)
    where len(asked.findings) = 0
    union all
    select met.number, job.episode_id, job.cause, job.cure_date, len(list_intersect(job.findings, asked.findings))
    from met
    join asked using (number)
    join cause_example as job using (episode_id)
    where len(asked.findings) > 0
    and len(
        list_filter(
            job.findings,
            lambda f: list_contains(asked.looked, split_part(f, '=', 1)) and not list_contains(asked.findings, f)
        )
    ) = 0
),
best as (
    select
        number,
        count(*) as similar_jobs,
        unnest(
            max({'agreeing': agreeing, 'cure_date': cure_date, 'episode_id': episode_id}, $most),
            recursive := true
        )
    from alike
    group by number, cause
)
select
    best.number,
    job.cause,
    best.similar_jobs,
    job.job_no,
    job.labour_minutes::double as minutes,
    job.labour_charge::double as charge,
    job.parts_cost::double as parts
from best
join cause_example as job using (episode_id)
order by best.number, best.agreeing desc, best.cure_date desc, episode_id desc
"""

ENDINGS = """
select
    kind,
    main_symptom,
    age_years,
    count(*) filter (where state = 'beyond economic repair') as beyond_repair,
    count(*) as known
from episode
where kind in (select unnest($kinds::varchar[])) and state in ('cured', 'beyond economic repair')
group by kind, main_symptom, age_years
order by kind, main_symptom, age_years
"""
LIKE_AGE = 2.0  # years by which an appliance may be older or younger (common practice, no source)
Ending = tuple[str | None, float | None, int, int]  # complaint, age, beyond economic repair, of how many known

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
),
counted as (
    select kind, cause, seen, count(*) as jobs, count(*) filter (where is_timed) as timed_jobs
    from one_finding
    group by kind, cause, seen
)
select
    kind,
    cause,
    split_part(seen, '=', 1) as finding,
    substr(seen, instr(seen, '=') + 1) as value,
    jobs,
    timed_jobs
from counted
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
with
    of_kind as (
        select visit_id, kind
        from stage_visit
        where kind in (select unnest($kinds::varchar[]))
    )
select
    of_kind.kind,
    part_fitted.part,
    count(*) as jobs,
    median(part_fitted.unit_cost) as price
from part_fitted
join of_kind using (visit_id)
where part_fitted.unit_cost > 0
group by of_kind.kind, part_fitted.part
order by of_kind.kind, part_fitted.part
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

ADVISED = """
with
    told as (
        select kind, cause, work_done, regexp_matches(work_done, '(?i)^\\s*(advi|berat|hinweis|einweisung)') as advises
        from stage_visit
        where kind in (select unnest($kinds::varchar[])) and cause is not null and work_done is not null
    )
select kind, cause, mode(trim(split_part(work_done, ',', 1))) filter (where advises) as advice
from told
group by kind, cause
having count(*) >= $fewest and avg(advises::integer) > 0.5
order by kind, cause
"""
FEWEST_ADVISED, LONGEST_ADVICE = 3, 80
_WORK = re.compile(
    r"&|\+|\b(?:and|then|plus|und|dann|fit|clean|clear|replac|renew|repair|adjust|remov|defrost|reset|tight|level)"
    r"|\b(?:gereinigt|ersetzt|erneuert|eingebaut|getauscht|repariert)",
    re.IGNORECASE,
)  # what goes beyond advice keeps the cautions of work


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
    advised
        cause → advice that most of its jobs ended with, as written.
    endings
        How its episodes with a known end ended, by main complaint and age.
    """

    likelihoods: Likelihoods
    minutes: Mapping[str, tuple[int, float, float]]
    prices: Mapping[str, tuple[int, float]]
    cured_by: Mapping[str, str]
    cause_jobs: Mapping[str, int]
    advised: Mapping[str, str] = field(default_factory=dict)
    endings: Sequence[Ending] = ()


@dataclass(frozen=True, eq=False)
class AlikeJobs:
    """Cured jobs like one call, best first.

    Attributes
    ----------
    cause, job_no
        Of each; ``job_no`` None = not recorded.
    minutes, charge, parts
        Labour, what was billed for it, and what the parts cost; NaN = not known.
    """

    cause: Sequence[str]
    job_no: Sequence[str | None]
    minutes: np.ndarray
    charge: np.ndarray
    parts: np.ndarray


@dataclass(frozen=True)
class Evidence:
    """The jobs like one call.

    Attributes
    ----------
    of_kind
        What is on record for its kind of appliance.
    similar
        Cured jobs of the kind with a shared complaint or code, whose findings do not contradict what was seen; of each
        cause the ``MOST_ALIKE`` most alike.
    similar_jobs
        cause → how many such jobs there are.
    beyond_repair
        Of how many similar episodes with a known end were beyond economic repair: (count, of).
    """

    of_kind: KindRecords
    similar: AlikeJobs
    similar_jobs: Mapping[str, int]
    beyond_repair: tuple[int, int]


def gather(database: Database, questions: Sequence[Question], trades: Mapping[str, Trade]) -> list[Evidence]:
    """Read what is on record for each question; questions that ask the same share one answer.

    Parameters
    ----------
    database
        A workshop database whose marts are built.
    questions
        The calls.
    trades
        The word lists of every kind asked about.
    """
    connection = database.connection
    listed = list(trades.items())
    records = each_while_unchanged(
        database,
        [("kind", trade) for _, trade in listed],
        lambda places: [*_kinds(connection, dict(listed[place] for place in places)).values()],
    )
    of_kind = dict(zip(trades, records, strict=True))
    found = each_while_unchanged(
        database,
        [("jobs like", MOST_ALIKE, *_key(question)) for question in questions],
        lambda places: _jobs_like(connection, [questions[place] for place in places]),
    )
    return [
        Evidence(of_kind[question.kind], jobs, counts, _beyond_repair(of_kind[question.kind].endings, question))
        for question, (jobs, counts) in zip(questions, found, strict=True)
    ]


def _jobs_like(
    connection: duckdb.DuckDBPyConnection, questions: Sequence[Question]
) -> list[tuple[AlikeJobs, dict[str, int]]]:
    """Jobs like each of several calls, and how many there are of each cause."""
    import numpy as np

    rows: dict[str, Any] = connection.execute(SIMILAR, {**_bound(questions), "most": MOST_ALIKE}).fetchnumpy()
    ends = np.searchsorted(rows.pop("number"), np.arange(len(questions) + 1)).tolist()
    counts, causes, numbers = (rows[name].tolist() for name in ("similar_jobs", "cause", "job_no"))
    amounts = [np.ma.filled(rows[name], np.nan) for name in ("minutes", "charge", "parts")]
    return [
        (
            AlikeJobs(causes[begin:end], numbers[begin:end], *(amount[begin:end] for amount in amounts)),
            dict(zip(causes[begin:end], counts[begin:end], strict=True)),
        )
        for begin, end in pairwise(ends)
    ]


def _beyond_repair(endings: Sequence[Ending], question: Question) -> tuple[int, int]:
    """Of how many episodes of its complaints, of appliances about as old, were beyond economic repair: (count, of)."""
    age = question.age_years
    like = [
        (beyond, known)
        for complaint, years, beyond, known in endings
        if (not question.symptoms or complaint in question.symptoms)
        and (age is None or (years is not None and abs(years - age) <= LIKE_AGE))
    ]
    return sum(beyond for beyond, _ in like), sum(known for _, known in like)


def _key(question: Question) -> tuple[Any, ...]:
    return question.kind, question.symptoms, question.codes, tuple(sorted(question.findings.items()))


def _bound(questions: Sequence[Question]) -> dict[str, Any]:
    """Values that the query about jobs like them binds, one list a column."""
    return {
        "number": list(range(len(questions))),
        "kind": [question.kind for question in questions],
        "terms": [[*q.symptoms, *(f"#{code}" for code in q.codes)] for q in questions],
        "findings": [[f"{finding}={value}" for finding, value in q.findings.items()] for q in questions],
        "looked": [list(question.findings) for question in questions],
    }


def _kinds(connection: duckdb.DuckDBPyConnection, trades: Mapping[str, Trade]) -> dict[str, KindRecords]:
    """Read what is on record for every kind asked about, each table once."""
    from models.plan.likelihood import learn

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
    advised: dict[str, dict[str, str]] = {kind: {} for kind in trades}
    for kind, cause, advice in connection.execute(ADVISED, {**kinds, "fewest": FEWEST_ADVISED}).fetchall():
        if len(advice) <= LONGEST_ADVICE and not _WORK.search(advice):
            advised[kind][cause] = advice
    endings: dict[str, list[Ending]] = {kind: [] for kind in trades}
    for kind, *ending in connection.execute(ENDINGS, kinds).fetchall():
        endings[kind].append(tuple(ending))
    return {
        kind: KindRecords(
            learn(findings[findings["kind"] == kind], trade.expected),
            minutes[kind],
            prices[kind],
            cured_by[kind],
            jobs[kind],
            advised[kind],
            endings[kind],
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

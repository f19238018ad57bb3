"""What a part fitted last time says of the cause this time, as far as the workshop's own returns say so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from reports.render.wording import sentence

if TYPE_CHECKING:
    from pipeline.call.unit_history import UnitHistory
    from pipeline.store.database import Database
    from pipeline.visit.odds import Odds

NO_RETURNS = (0, 0, 1.0)
HELD_BY = 8.0
"""Returns that "the part fitted tells nothing" weighs: with none on record a returned repair changes nothing."""


RETURNS = """
with
line as (
    select
        verdict.part_line_id,
        verdict.kind,
        verdict.part,
        verdict.confirmed_cause as cause,
        min(visit_symptom.symptom) as symptom
    from part_verdict as verdict
    join visit_symptom on visit_symptom.visit_id = verdict.visit_id and not visit_symptom.is_negated
    where verdict.verdict in ('not the cause', 'fitted again') and verdict.confirmed_cause is not null
    group by all
),
job as (
    select kind, symptom, cause, count(*) as jobs
    from (select kind, unnest(symptoms) as symptom, cause from cause_example)
    group by all
),
listed as (select distinct kind, cause, part from cure where origin <> 'joint'),
share as (
    select
        asked.kind,
        asked.symptom,
        asked.part,
        coalesce(sum(job.jobs) filter (listed.part is not null), 0) / sum(job.jobs) as expected
    from (select distinct kind, symptom, part from line) as asked
    join job using (kind, symptom)
    left join listed on listed.kind = job.kind and listed.cause = job.cause and listed.part = asked.part
    group by all
)
select count(*) filter (listed.part is not null), count(*), avg(share.expected)
from line
join share using (kind, symptom, part)
left join listed on listed.kind = line.kind and listed.cause = line.cause and listed.part = line.part
"""


def with_history(
    history: UnitHistory, odds: Odds, cured_by: Mapping[str, Sequence[str]], rate: tuple[int, int, float]
) -> tuple[Odds, UnitHistory]:
    """Make causes less likely that the part fitted last time would have cured, as far as the records say so.

    Parameters
    ----------
    history
        The unit's past.
    odds
        What the call says by itself.
    cured_by
        Cause → the parts that cure it.
    rate
        From `returns_after_part`.

    Returns
    -------
    tuple
        The odds, and the history with its effect in words.
    """
    fitted = set(history.visits[0].parts) if history.is_callback else set()
    cured = [cause for cause, parts in cured_by.items() if parts and set(parts) & fitted and cause in odds.causes]
    again, returned, expected = rate
    before = sum(odds.causes[cause] for cause in cured)
    if not cured or not returned or not 0.0 < before < 1.0:
        return odds, history
    ratio = (again + HELD_BY * expected) / (returned + HELD_BY) / expected
    weight = min(ratio, 1.0)
    total = weight * before + 1.0 - before
    causes = {cause: p * (weight if cause in cured else 1.0) / total for cause, p in odds.causes.items()}
    after = weight * before / total
    effect = sentence(
        "answer.went_in",
        n=history.visits[0].days_ago,
        parts=sorted(fitted),
        returned=returned,
        again=again,
        expected=expected,
        before=before,
        after=after,
    )
    ordered = dict(sorted(causes.items(), key=lambda row: (-row[1], row[0])))
    return replace(odds, causes=ordered, none_of_these=odds.none_of_these / total), replace(history, effect=effect)


def returns_after_part(database: Database) -> tuple[int, int, float]:
    """Count what lay behind calls to units where a part had gone in before, in the episodes on record.

    Returns
    -------
    tuple
        again: part lines, not at the visit that ended their episode, whose cause confirmed in the end the part cures;
        returned: all such lines; expected: the share of *again* had the part told nothing, which is how often the
        part's causes lie behind the same kind and complaint. 0, 0 and 1 without records.
    """
    row = database.connection.execute(RETURNS).fetchone()
    again, returned, expected = row or (0, 0, None)
    return int(again), int(returned), float(expected or 1.0)

"""What a part fitted last time says of the cause this time, as far as the workshop's own returns say so."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from reports.render.wording import sentence

if TYPE_CHECKING:
    import duckdb

    from pipeline.call.unit_history import UnitHistory
    from pipeline.visit.odds import Odds

NO_RETURNS = (0, 0, 1.0)
HELD_BY = 8.0
"""Returns that "the part fitted tells nothing" weighs: with none on record a returned repair changes nothing."""


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


def returns_after_part(connection: duckdb.DuckDBPyConnection) -> tuple[int, int, float]:
    """Count what lay behind calls to units where a part had gone in before, in the episodes on record.

    Returns
    -------
    tuple
        again: part lines, not at the visit that ended their episode, whose cause confirmed in the end the part cures;
        returned: all such lines; expected: the share of *again* had the part told nothing, which is how often the
        part's causes lie behind the same kind and complaint. 0, 0 and 1 without records.
    """
    row = connection.execute(
        "with line as (select p.part_line_id, v.kind, p.part, p.confirmed_cause as cause, "
        "(select min(symptom) from visit_symptom as s where s.visit_id = p.visit_id and not s.is_negated) as symptom "
        "from part_verdict as p join visit as v using (visit_id) "
        "where p.verdict in ('not the cause', 'fitted again') and p.confirmed_cause is not null), "
        "job as (select kind, unnest(symptoms) as symptom, cause from cause_example), "
        "share as (select l.part_line_id, avg((c.part is not null)::int) as expected from line as l "
        "join job as j on j.kind = l.kind and j.symptom = l.symptom "
        "left join (select distinct kind, cause, part from cure where origin <> 'joint') as c "
        "on c.kind = j.kind and c.cause = j.cause and c.part = l.part group by all) "
        "select count(*) filter (c.part is not null), count(*), avg(expected) "
        "from line as l join share using (part_line_id) "
        "left join (select distinct kind, cause, part from cure where origin <> 'joint') as c "
        "on c.kind = l.kind and c.cause = l.cause and c.part = l.part"
    ).fetchone()
    again, returned, expected = row or (0, 0, None)
    return int(again), int(returned), float(expected or 1.0)

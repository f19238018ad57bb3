"""The advice rows of a workshop: its verdicts, what was known when each part went in, and what to look at first."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any

from pipeline.store.batches import frame
from pipeline.words.appliance import Trade, about

if TYPE_CHECKING:
    from collections.abc import Mapping

    import duckdb
    import pandas as pd

    from models.advice.adopted import BeforeAndAfter
    from pipeline.words import Words

MONTHS = 36

_VERDICTS = """
    select
        part_verdict.part_line_id,
        part_verdict.visit_id,
        part_verdict.visit_date::timestamp as visit_date,
        part_verdict.technician,
        part_verdict.kind,
        part_verdict.make,
        part_verdict.main_symptom,
        part_verdict.fault_code,
        part_verdict.part,
        part_verdict.verdict,
        part_verdict.confirmed_cause,
        part_verdict.total_cost,
        part_verdict.labour_minutes,
        part_verdict.trip_minutes,
        visit.job_no
    from part_verdict
    inner join visit on visit.visit_id = part_verdict.visit_id
    inner join episode on episode.episode_id = part_verdict.episode_id
    where part_verdict.verdict in ('cured', 'not the cause')
        and not episode.is_left_truncated
        and ($since is null or part_verdict.visit_date >= $since)
    order by part_verdict.part_line_id
"""

# what was known when the part went in: sure findings of that visit and of the episode's earlier ones
_FINDINGS = """
    select distinct here.visit_id, visit_finding.finding, visit_finding.value
    from episode_visit as here
    inner join episode_visit as earlier
        on earlier.episode_id = here.episode_id
        and earlier.visit_no <= here.visit_no
    inner join visit_finding on visit_finding.visit_id = earlier.visit_id
    where here.visit_id in (
            select part_verdict.visit_id
            from part_verdict
            where part_verdict.verdict in ('cured', 'not the cause')
                and ($since is null or part_verdict.visit_date >= $since)
        )
        and not visit_finding.is_doubtful
"""


def advice(
    connection: duckdb.DuckDBPyConnection,
    words: Words | None = None,
) -> pd.DataFrame:
    """Find what to look at before fitting a part, from the verdicts of the last three years.

    The page of a month, the command line and the models all show these rows in this order, so that a number means the
    same row everywhere.

    Parameters
    ----------
    connection
        The workshop's database.
    words
        Names what to look at first by the check that shows the usual cause, with its cautions; without it the cause
        itself is named.

    Returns
    -------
    DataFrame
        As `models.advice.find.find_advice`, with ``number`` (from 1), ``says`` (the row as a sentence) and ``cautions``
        (their texts, those of the kinds and of the check).
    """
    import pandas as pd

    from models.advice.find import find_advice, said

    ((as_of,),) = connection.execute("select as_of from follow_up").fetchall()
    since = None if as_of is None else (pd.Timestamp(as_of) - pd.DateOffset(months=MONTHS)).date()
    verdicts, findings = _frames(connection, since)
    trades = {kind: about(words, kind) for kind in sorted(verdicts["kind"].unique())} if words is not None else {}
    looks = {(kind, cause): look for kind, trade in trades.items() for cause, look in _looks(trade).items()}
    table = find_advice(verdicts, findings, look_first=looks, as_of=as_of)
    rows: list[dict[str, Any]] = [dict(zip(table.columns, row, strict=True)) for row in table.itertuples(index=False)]
    return table.assign(
        number=range(1, len(table) + 1),
        says=_objects([said(row) for row in rows]),
        cautions=_objects(
            [_cautions([trades[kind] for kind in row["kinds"] if kind in trades], row["look_first"]) for row in rows]
        ),
    )


def did_it_help(connection: duckdb.DuckDBPyConnection, row: Mapping[str, Any], adopted_on: dt.date) -> BeforeAndAfter:
    """Compare the wrong parts of an advice row before and since the day it was adopted."""
    import pandas as pd

    from models.advice import adopted

    verdicts, findings = _frames(connection, None)
    ((as_of,),) = connection.execute("select as_of from follow_up").fetchall()
    return adopted.did_it_help(verdicts, row, pd.Timestamp(adopted_on), findings, as_of=pd.Timestamp(as_of))


def _objects(values: list[Any]) -> pd.Series:
    """A column of objects, also when it is empty or holds lists."""
    import pandas as pd

    return pd.Series(values, dtype=object)


def _frames(connection: duckdb.DuckDBPyConnection, since: dt.date | None) -> tuple[pd.DataFrame, pd.DataFrame]:
    return frame(connection, _VERDICTS, {"since": since}), frame(connection, _FINDINGS, {"since": since})


def _looks(trade: Trade) -> dict[str, str]:
    """Cause → the check whose finding tells it best from the kind's other causes."""
    stated = list(trade.expected.itertuples(index=False, name=None))
    of_all: dict[tuple[str, str], float] = {}
    for _, finding, value, probability in stated:
        of_all[finding, value] = of_all.get((finding, value), 0.0) + probability
    others = max(len({cause for cause, *_ in stated}) - 1, 1)
    check_of = {card.finding: card.name for card in trade.checks}
    best: dict[str, tuple[float, str]] = {}
    for cause, finding, value, probability in stated:
        if finding in check_of:
            tells = probability - (of_all[finding, value] - probability) / others
            best[cause] = min(best.get(cause, (1.0, "")), (-tells, finding))
    return {cause: check_of[finding] for cause, (_, finding) in best.items()}


def _cautions(trades: list[Trade], look_first: str) -> list[str]:
    names = [name for trade in trades for name in trade.kind_cautions]
    names += [name for trade in trades for card in trade.checks if card.name == look_first for name in card.cautions]
    return [trades[0].cautions[name] for name in dict.fromkeys(names) if name in trades[0].cautions]

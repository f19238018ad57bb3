"""The advice that stands today, whatever month a page is about: its rows, the faults behind them, what was taken up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.advice.adopted import taken_up
from pipeline.advice.find import advice

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from pipeline.words import Words

MOST_JOBS = 100


_LISTS = """
    with
        listed as (
            select distinct report_advice.key, part_verdict.episode_id
            from report_advice
            inner join part_verdict on part_verdict.part_line_id = report_advice.part_line_id
            where part_verdict.verdict = 'not the cause'
        ),
        placed as (
            select
                key,
                episode_id,
                row_number() over (partition by key order by episode_id desc) as place,
                count(*) over (partition by key) as total
            from listed
        )
    select key, episode_id, total
    from placed
    where place <= $most
    order by key, place
"""


@dataclass(frozen=True)
class Standing:
    """What stands today.

    Attributes
    ----------
    rows
        The rows of `pipeline.advice.find.advice`, with ``jobs`` the key of the row's list and ``job_nos`` its job
        numbers.
    lists
        One row a list and fault: key, episode_id, total.
    adopted
        The rows of `pipeline.advice.adopted.taken_up`.
    """

    rows: pd.DataFrame
    lists: pd.DataFrame
    adopted: pd.DataFrame

    def of_kind(self, kind: str | None) -> Standing:
        """Keep the rows that speak of one kind, under their own numbers; None = all."""
        if kind is None:
            return self
        rows = self.rows[self.rows["kinds"].map(lambda kinds: kind in kinds).astype(bool)].reset_index(drop=True)
        return Standing(rows, self.lists[self.lists["key"].isin(rows["jobs"])], self.adopted)


def standing(
    connection: duckdb.DuckDBPyConnection, words: Words | None = None, found: pd.DataFrame | None = None
) -> Standing:
    """Give the whole workshop's advice: one person's verdicts are too few to find a pattern in.

    Parameters
    ----------
    connection
        The database.
    words
        The words in force: they name what to look at first, with its cautions.
    found
        The rows of `pipeline.advice.find.advice`, where they have been searched for already.
    """
    import pandas as pd

    found = advice(connection, words) if found is None else found
    keys = [f"advice-{number}" for number in found["number"]]
    rows = found.drop(columns=["part_line_ids"]).assign(job_nos=found["jobs"], jobs=keys)
    lines = pd.DataFrame(
        {"key": pd.Series(keys, dtype=object), "part_line_id": found["part_line_ids"].astype(object)}
    ).explode("part_line_id")
    connection.register("report_advice", lines.astype({"part_line_id": "int64"}))
    try:
        lists = connection.execute(_LISTS, {"most": MOST_JOBS}).df()
    finally:
        connection.unregister("report_advice")
    return Standing(rows, lists, pd.DataFrame(taken_up(connection)))

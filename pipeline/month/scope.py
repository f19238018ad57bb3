"""Which visits a report speaks of: the period, the one before, kind, technician or branch, laid out as small tables."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.errors import UsageError, shown

if TYPE_CHECKING:
    import duckdb

    from pipeline.words import Words

MONTHS_SHOWN = 24
MONTHS_WEIGHED = 12
OF_BRANCH = """
    episode_id in (select first_time_fix.episode_id from first_time_fix where first_time_fix.branch = $branch)
"""  # SQL: an episode is the branch's that made its first attended visit


@dataclass(frozen=True)
class Scope:
    """What one report is about.

    Attributes
    ----------
    first, last
        First day of the first and last month of the period; equal for one month.
    before_first, before_last
        The period it is compared with, of any length.
    is_against
        The other period was named by the reader, rather than being the one just before.
    kind, technician
        Only this kind, only this technician's work; None = all.
    branch
        Only this branch's jobs; None = all.
    records_from
        First day of the first month with visits: before it nothing is known, not even that nothing happened.
    as_of
        Day up to which visits are known.
    window_days, waiting_days
        The workshop's windows, days.
    costs
        An hour of labour, a further trip (money), and its minutes, as the settings have them.
    is_labour_billed
        Customers pay the labour of wrong parts, so that it is not lost.
    """

    first: dt.date
    last: dt.date
    before_first: dt.date
    before_last: dt.date
    is_against: bool
    kind: str | None
    technician: str | None
    branch: str | None
    records_from: dt.date
    as_of: dt.date
    window_days: int
    waiting_days: int
    costs: tuple[float, float, float]
    is_labour_billed: bool

    @property
    def end(self) -> dt.date:
        """The last day of the period."""
        return moved(self.last, 1) - dt.timedelta(days=1)

    @property
    def before_end(self) -> dt.date:
        """The last day of the period it is compared with."""
        return moved(self.before_last, 1) - dt.timedelta(days=1)

    @property
    def weighed_from(self) -> dt.date:
        """First month over which parts, causes and people are weighed: a year back, or the period if longer."""
        return min(self.first, moved(self.last, 1 - MONTHS_WEIGHED))

    @property
    def shown_from(self) -> dt.date:
        """First month of the chart by month."""
        return min(self.first, moved(self.last, 1 - MONTHS_SHOWN))

    @property
    def name(self) -> str:
        """Short name for files: 2026-10, or 2026-08-to-2026-10."""
        return f"{self.first:%Y-%m}" if self.first == self.last else f"{self.first:%Y-%m}-to-{self.last:%Y-%m}"


def moved(month: dt.date, months: int) -> dt.date:
    """Give the first day of the month so many months later."""
    count = month.year * 12 + month.month - 1 + months
    return dt.date(count // 12, count % 12 + 1, 1)


def read_month(written: str) -> dt.date:
    """Read a month written as YYYY-MM.

    Raises
    ------
    UsageError
        It is written in any other way.
    """
    if not re.fullmatch(r"(19|20)\d\d-(0[1-9]|1[0-2])", written):
        raise UsageError(f"{shown(written)} is not a valid month.", "Write the month as YYYY-MM, such as 2026-09.")
    return dt.date(int(written[:4]), int(written[5:]), 1)


def months_with_visits(connection: duckdb.DuckDBPyConnection) -> list[dt.date]:
    """List the months there are visits in, in order."""
    asked = "select distinct cast(date_trunc('month', visit_date) as date) from visit order by all"
    return [month for (month,) in connection.execute(asked).fetchall()]


def find_scope(
    connection: duckdb.DuckDBPyConnection,
    month: str | None,
    *,
    to: str | None = None,
    against: str | None = None,
    against_to: str | None = None,
    kind: str | None = None,
    technician: str | None = None,
    branch: str | None = None,
    words: Words | None = None,
) -> Scope:
    """Turn what the reader asked for into a scope.

    Parameters
    ----------
    connection
        The workshop database, marts built.
    month
        YYYY-MM; None means the last month that is over, or the only one there is.
    to
        Last month of a longer period.
    against, against_to
        The period to compare with; ``against`` alone means one as long as the report's own.
    kind, technician, branch
        Report on these alone: a kind as a job sheet writes it, the others as the database does.
    words
        The words in force, by which the kind is read; without them it must be as the database writes it.

    Raises
    ------
    UsageError
        A month, kind, technician or branch that is not in the records, or a period that ends before it begins.
    """
    months = months_with_visits(connection)
    if not months:
        raise UsageError("There are no visits to report on.", "Load records first: priorjobs load FILE")
    ((as_of, window_days, waiting_days, is_labour_billed, *costs),) = connection.execute(
        "select as_of, window_days, waiting_days, wrong_labour_billed, hour_rate, trip_cost, trip_minutes "
        "from follow_up"
    ).fetchall()
    first, last = _period(months, as_of, month, to)
    length = (last.year - first.year) * 12 + last.month - first.month + 1
    before_first = read_month(against) if against else moved(first, -length)
    before_last = read_month(against_to) if against_to else moved(before_first, length - 1)
    return Scope(
        first=first,
        last=last,
        before_first=before_first,
        before_last=before_last,
        is_against=against is not None,
        kind=_known(connection, "kind", kind, words),
        technician=_known(connection, "technician", technician),
        branch=_known(connection, "branch", branch),
        records_from=months[0],
        as_of=as_of,
        window_days=window_days,
        waiting_days=waiting_days,
        costs=(costs[0], costs[1], costs[2]),
        is_labour_billed=is_labour_billed,
    )


def _period(months: list[dt.date], as_of: dt.date, month: str | None, to: str | None) -> tuple[dt.date, dt.date]:
    """The first and last month asked for; where none is named, the last one that is over."""
    over = [begun for begun in months if moved(begun, 1) - dt.timedelta(days=1) <= as_of]
    first = read_month(month) if month else (over or months)[-1]
    last = read_month(to) if to else first
    if last < first:
        raise UsageError(
            f"The period ends ({last:%Y-%m}) before it begins ({first:%Y-%m}).", "Name the earlier month first."
        )
    if not any(first <= begun <= last for begun in months):
        raise UsageError(
            f"There are no visits from {first:%Y-%m} to {last:%Y-%m}.",
            f"The records run from {months[0]:%Y-%m} to {months[-1]:%Y-%m}.",
        )
    return first, last


def _known(
    connection: duckdb.DuckDBPyConnection, column: str, value: str | None, words: Words | None = None
) -> str | None:
    if value is None:
        return None
    read = value.strip()
    if words is not None:
        import pandas as pd

        read = str(words.match("kind", pd.Series([read], dtype="str"))["term"].iloc[0])
    found = connection.execute(
        f"select distinct {column} from visit where lower({column}) in (lower($value), lower($read)) "
        f"order by lower({column}) <> lower($value), 1",
        {"value": value.strip(), "read": read},
    ).fetchall()
    if found:
        return str(found[0][0])
    known = [
        shown(name)
        for (name,) in connection.execute(
            f"select {column} from visit where {column} is not null "
            f"group by {column} order by count(*) desc, {column} limit 8"
        ).fetchall()
    ]
    raise UsageError(f"No visit has the {column} {shown(value)}.", f"Known: {', '.join(known) or 'none'}.")


_TABLES = {
    "report_fault": """
        select
            first_time_fix.*,
            episode.age_band as age_band,
            episode.state as state,
            episode.first_visit_date as first_visit_date,
            episode.cure_date as cure_date
        from first_time_fix
        inner join episode on episode.episode_id = first_time_fix.episode_id
        where first_time_fix.month between least($shown_from, $before_first) and greatest($last, $before_last)
            and ($kind is null or first_time_fix.kind = $kind)
            and ($technician is null or first_time_fix.technician = $technician)
            and ($branch is null or first_time_fix.branch = $branch)
    """,
    "report_fix": """
        select *, cast(date_trunc('month', fix_date) as date) as month
        from callback_follow_up
        where fix_date between least($shown_from, $before_first) and greatest($end, $before_end)
            and ($kind is null or kind = $kind)
            and ($technician is null or technician = $technician)
            and ($branch is null or branch = $branch)
    """,
    "report_part": """
        select *, cast(date_trunc('month', visit_date) as date) as month
        from part_verdict
        where visit_date between least($shown_from, $before_first) and greatest($end, $before_end)
            and ($kind is null or kind = $kind)
            and ($technician is null or technician = $technician)
            and ($branch is null or branch = $branch)
    """,
    "report_missing": """
        select distinct
            report_part.part,
            report_part.episode_id,
            report_part.visit_date,
            waited.visit_id,
            datediff('day', waited.visit_date, report_part.visit_date) as days_waited
        from report_part
        inner join episode_visit as later on later.visit_id = report_part.visit_id
        inner join episode_visit as earlier
            on earlier.episode_id = report_part.episode_id
            and earlier.visit_no = later.visit_no - 1
        inner join visit as waited on waited.visit_id = earlier.visit_id
        where waited.outcome = 'part needed'
    """,
}


@contextmanager
def laid_out(connection: duckdb.DuckDBPyConnection, scope: Scope) -> Iterator[None]:
    """Keep the scope's share of the marts in temporary tables.

    ``report_fault``, ``report_fix`` and ``report_part`` hold a row a fault, a repair and a part; ``report_missing`` a
    row a part and visit that ended in "part needed", the part being fitted at the next.
    """
    values = {
        "shown_from": scope.shown_from,
        "before_first": scope.before_first,
        "last": scope.last,
        "before_last": scope.before_last,
        "end": scope.end,
        "before_end": scope.before_end,
        "kind": scope.kind,
        "technician": scope.technician,
        "branch": scope.branch,
    }
    try:
        for table, query in _TABLES.items():
            connection.execute(f"create or replace temp table {table} as {query}", named_in(query, values))
        yield
    finally:
        for table in _TABLES:
            connection.execute(f"drop table if exists temp.{table}")


def named_in(query: str, values: Mapping[str, object]) -> dict[str, object]:
    """Keep the values that a query names as parameters."""
    return {name: value for name, value in values.items() if re.search(rf"\${name}\b", query)}

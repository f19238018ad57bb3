"""Which visits are held that files said to be the whole history of their period no longer hold."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.load.screen import name_macros
from pipeline.store.batches import frame, insert
from sql.working import make

if TYPE_CHECKING:
    import datetime as dt

    import duckdb
    import pandas as pd

SHOWN = 10


@dataclass(frozen=True)
class Gone:
    """Visits that the files of a load do not hold though their days lie in the files' period.

    Attributes
    ----------
    first, last
        The period: from the first to the last visit in the files; None = they hold none.
    visits
        How many are gone.
    moved, renumbered
        Of these: visits whose job came in again under another date, or whose appliance and day under another number.
    beyond
        Visits held outside the period from earlier files of the same names: they stay.
    examples
        The first of them: job_no, visit_date.
    """

    first: dt.date | None
    last: dt.date | None
    visits: int = 0
    moved: int = 0
    renumbered: int = 0
    beyond: int = 0
    examples: tuple[str, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """Plain form for scripts."""
        return {
            "first": self.first and str(self.first),
            "last": self.last and str(self.last),
            "taken_out": self.visits,
            "moved": self.moved,
            "renumbered": self.renumbered,
            "beyond": self.beyond,
            "examples": list(self.examples),
        }

    def lines(self) -> list[str]:
        """Say it in the terminal."""
        if self.first is None:
            return ["No visit was read, so nothing was taken out."]
        period = f"from {self.first} to {self.last}"
        if not self.visits:
            told = [f"Whole history {period}: every visit held is in the files; nothing was taken out."]
        else:
            changed = self.moved + self.renumbered
            told = [
                f"Whole history {period}: {self.visits:,} visits that the files no longer hold were taken out, of them "
                f"{self.moved:,} came in again under another date, {self.renumbered:,} under another job number, "
                f"{self.visits - changed:,} are gone: {', '.join(self.examples)}"
                + (" …" if self.visits > len(self.examples) else "")
            ]
        if self.beyond:
            told.append(
                f"{self.beyond:,} visits from earlier files of the same name lie outside this period and stay; "
                "if they are gone too, take the earlier file back: priorjobs batches"
            )
        return told


def present(connection: duckdb.DuckDBPyConnection, batch: int) -> pd.DataFrame:
    """Return the visits that a batch holds, brought by it or found again: visit_key."""
    return frame(
        connection,
        f"select distinct visit_key from counted_record where batch_id = {int(batch)} union "
        f"select visit_key from counted_record where record_id in "
        f"(select record_id from seen_again where batch_id = {int(batch)})",
    )


def present_in_file(connection: duckdb.DuckDBPyConnection) -> pd.DataFrame:
    """Return the visits that the file being loaded holds: visit_key. Reads ``fresh`` and ``found_again``."""
    return frame(
        connection,
        "select distinct visit_key from fresh union "
        "select visit_key from counted_record where record_id in (select record_id from found_again)",
    )


def missed(connection: duckdb.DuckDBPyConnection, name: str) -> int:
    """Count the visits from earlier files of a name that the file being loaded lacks, in its period.

    Reads ``candidate``, ``fresh`` and ``found_again``; ``present_in_file`` says what the file holds.
    """
    return int(
        connection.execute(
            "with earlier as (select batch_id from load_batch where file_name = ?), "
            "period as (select min(day) as first, max(day) as last from candidate) "
            "select count(distinct visit_key) from counted_record, period where batch_id in (from earlier) "
            "and day_of(visit_key) between first and last and visit_key not in (select visit_key from fresh) "
            "and visit_key not in (select visit_key from raw_record where record_id in "
            "(select record_id from found_again))",
            [name],
        ).fetchall()[0][0]
    )


def find_gone(
    connection: duckdb.DuckDBPyConnection, present_visits: list[pd.DataFrame], batches: list[int], names: list[str]
) -> Gone:
    """Make table ``gone`` (visit_key, day) of the visits held in the files' period that no file holds.

    Reads stage_visit and counted_record; ``present_visits`` are what `present` and `present_in_file` returned,
    ``batches`` what the load brought.
    """
    name_macros(connection)
    make(connection, "present_visit")
    for visits in present_visits:
        insert(connection, "present_visit", visits)
    first, last = connection.execute(
        "select min(day_of(visit_key)), max(day_of(visit_key)) from present_visit"
    ).fetchall()[0]
    if first is None:
        return Gone(None, None)
    make(connection, "gone", first=first, last=last)
    (visits,) = connection.execute("select count(*) from gone").fetchall()[0]
    if not visits:
        return Gone(first, last, beyond=_beyond(connection, names, first, last))
    make(connection, "came_in_anew", batches=batches)
    moved, renumbered = connection.execute(
        "select count(*) filter (same_job), count(*) filter (same_job is distinct from true) from came_in_anew"
    ).fetchall()[0]
    examples = connection.execute(
        "select distinct coalesce('job ' || job_no || ' on ', 'visit on ') || day from counted_record "
        f"join gone using (visit_key) order by all limit {SHOWN}"
    ).fetchall()
    return Gone(
        first, last, visits, moved, renumbered, _beyond(connection, names, first, last), tuple(e for (e,) in examples)
    )


def _beyond(connection: duckdb.DuckDBPyConnection, names: list[str], first: dt.date, last: dt.date) -> int:
    return int(
        connection.execute(
            "select count(*) from stage_visit join raw_record using (record_id) join load_batch using (batch_id) "
            "where file_name in (select unnest(?)) and stage_visit.visit_date not between ? and ?",
            [names, first, last],
        ).fetchall()[0][0]
    )

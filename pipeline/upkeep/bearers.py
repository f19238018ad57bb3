"""Whose lines a name or reference stands on: several customers may bear one name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from pipeline.errors import UsageError, shown

if TYPE_CHECKING:
    from collections.abc import Sequence

    import duckdb

SHOWN_JOBS = 10
_BEARS = "(list_contains($hashes, customer_ref) or len(list_filter($hashes, lambda h: contains(other_columns, h))) > 0)"


@dataclass(frozen=True)
class Bearers:
    """Who a name stands for.

    Attributes
    ----------
    lines
        Lines that the name stands on.
    customers
        Different customers among them, told apart by their own references.
    jobs
        The first job of each.
    """

    lines: int
    customers: int
    jobs: tuple[str, ...]

    def refuse_several(self, written: str) -> None:
        """Refuse to take several customers for one.

        Raises
        ------
        UsageError
            Several bear the name.
        """
        if self.customers < 2:
            return
        more = " …" if self.customers > len(self.jobs) else ""
        raise UsageError(
            f"{shown(written)} stands on {self.lines:,} lines of {self.customers:,} customers with references of their "
            f"own; the first job of each: {', '.join(map(shown, self.jobs))}{more}.",
            "Give the reference of the one who is meant: priorjobs forget REF; or forget all of them with --several.",
        )


def bearers(connection: duckdb.DuckDBPyConnection, hashes: Sequence[str]) -> Bearers:
    """Count the lines and customers that a reference, in any of its hashes, stands for."""
    lines, customers = connection.execute(
        f"select count(*), count(distinct {_owner()}) from raw_record where {_BEARS}", {"hashes": list(hashes)}
    ).fetchall()[0]
    jobs = connection.execute(
        f"select min_by(coalesce(job_no, 'line ' || line_no), record_id) from raw_record where {_BEARS} "
        f"group by {_owner()} order by min(record_id) limit {SHOWN_JOBS}",
        {"hashes": list(hashes)},
    ).fetchall()
    return Bearers(lines, customers, tuple(job for (job,) in jobs))


def _owner() -> str:
    return "case when list_contains($hashes, customer_ref) then $hashes[1] else coalesce(customer_ref, $hashes[1]) end"


def lines_of_bearers(connection: duckdb.DuckDBPyConnection, hashes: Sequence[str]) -> list[tuple[int, str | None]]:
    """Give every line, of every version, of the visits that a reference stands on: record_id, customer_ref."""
    return connection.execute(
        f"select record_id, customer_ref from raw_record where visit_key in "
        f"(select visit_key from raw_record where {_BEARS})",
        {"hashes": list(hashes)},
    ).fetchall()

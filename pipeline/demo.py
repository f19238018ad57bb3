"""The whole chain on the demo workshop, in a folder of its own, and what it found."""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import demo_data
from pipeline.errors import UsageError, shown
from pipeline.workshop import Workshop

if TYPE_CHECKING:
    import duckdb

STORY: dict[str, Any] = {
    "kind": "tumble dryer",
    "make": "Corvanta",
    "age": "5",
    "complaint": "no heat, drum turns",
    "code": "K09",
}
MARK = "made-by-demo.txt"
WRITTEN = ("one-call.txt", "round.html", "report.html")


def run_demo(folder: Path, tell: Callable[[str], None]) -> dict[str, Any]:
    """Load both demo exports, learn, answer one call, plan a round, write the month's report.

    Parameters
    ----------
    folder
        Where to build it. What an earlier demo left there is removed, nothing else.
    tell
        Receives one line of progress a step.

    Returns
    -------
    dict
        ``made`` (what → path), ``found`` (sentences computed from the tables), ``seconds``.

    Raises
    ------
    UsageError
        A workshop that no demo made is in the folder.
    """
    began = time.monotonic()
    folder.mkdir(parents=True, exist_ok=True)
    db = folder / "workshop.duckdb"
    _clear(db)
    (folder / MARK).write_text("priorjobs demo made what is in this folder, and makes it anew.\n", encoding="utf-8")
    with Workshop.open(db) as workshop:
        tell("1/5  Reading four years of job sheets, two exports …")
        loaded = workshop.load([demo_data.FILES["jobs"]])
        loaded_office = workshop.load([demo_data.FILES["office"]], layout=demo_data.FILES["office_layout"])
        totals = [report.as_json()["totals"] for report in (loaded, loaded_office)]
        loaded_lines, refused = (sum(t[name] for t in totals) for name in ("loaded", "rejected"))
        tell(f"     {loaded_lines:,} lines loaded, {refused} refused and kept.")
        tell("2/5  Learning which causes follow which complaints and ages …")
        scored = workshop.train()
        tell("3/5  Asking about one call …")
        answer = workshop.causes(**STORY)
        answer_file = folder / "one-call.txt"
        answer_file.write_text("\n".join(answer.lines()) + "\n", encoding="utf-8")
        tell("4/5  Planning tomorrow's round …")
        round_file = folder / "round.html"
        workshop.round(demo_data.FILES["round"], round_file)
        tell("5/5  Writing the month's report …")
        month = workshop.report(_last_closed_month(workshop.database.connection), out=folder / "report.html")
        found = [*_what_it_found(workshop.database.connection), _how_good(scored)]
    return {
        "made": {
            "the month's report": str(folder / "report.html"),
            "tomorrow's visit sheets": str(round_file),
            "one call answered": str(answer_file),
            "the warehouse": str(db),
        },
        "found": found,
        "month": month.as_json()["month"],
        "seconds": round(time.monotonic() - began, 1),
    }


def _clear(db: Path) -> None:
    from pipeline.store.workshop_files import beside

    left = [path for path in (db, db.with_suffix(".duckdb.wal"), *beside(db).values()) if path.exists()]
    made = [path for path in (db.parent / name for name in WRITTEN) if path.exists()]
    if (left or made) and not (db.parent / MARK).exists():
        raise UsageError(
            f"{shown([*left, *made][0], 200)} already exists, and no demo made it.",
            "Name another folder: priorjobs demo --folder NAME",
        )
    for path in left:
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink()


def _last_closed_month(connection: duckdb.DuckDBPyConnection) -> str | None:
    """Return the newest month in which every first-time fix is known, as YYYY-MM."""
    month: str | None = connection.execute(
        """
        select strftime(max(month), '%Y-%m')
        from (select month from first_time_fix group by month having count(*) filter (status = 'not yet known') = 0)
        """
    ).fetchall()[0][0]
    return month


def _what_it_found(connection: duckdb.DuckDBPyConnection) -> list[str]:
    parts, money, currency = connection.execute(
        """
        select count(*), coalesce(sum(total_cost), 0), (select currency from setting)
        from part_verdict where verdict = 'not the cause'
        """
    ).fetchall()[0]
    sentences = [
        f"{parts} parts fitted were not the cause; with labour and the extra trip that cost {currency} {money:,.0f}."
    ]
    swaps = connection.execute(
        """
        select part, confirmed_cause, count(*) as swaps
        from part_verdict where verdict = 'not the cause' and confirmed_cause is not null
        group by part, confirmed_cause order by swaps desc, part, confirmed_cause limit 1
        """
    ).fetchall()
    if swaps:
        part, cause, count = swaps[0]
        known = connection.execute(
            "select count(*) from part_verdict where part = ? and verdict not in ('shared credit', 'still open')",
            [part],
        ).fetchall()[0][0]
        sentences.append(
            f"The commonest of them: {part} fitted where it was {cause}, {count} times; "
            f"{known} times a {part} was fitted and its outcome is known."
        )
    return sentences


def _how_good(scored: dict[str, Any]) -> str:
    score = scored["scores"]
    plain = min(scored["baselines"].items(), key=lambda item: item[1]["log_loss"])
    return (
        f"Asked about later jobs it had not seen, the true cause was among its first three in {score['top3']:.0%}; "
        f"log-loss {score['log_loss']:.2f} against {plain[1]['log_loss']:.2f} for the best baseline, {plain[0]}."
    )

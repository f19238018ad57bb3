"""Work that only reads and takes long, in a program of its own: the pages answer beside it.

``python -P -m pipeline.browser.worker`` reads from its standard input, a line of JSON each, what to do: a name of
`WORKS`, the database, and what else the work is given. It writes to its standard output, in lines likewise, a text
whenever there is something to tell, and at the end what came of it: the result, and code, what, remedy of a fault.
It ends with its input.
"""

from __future__ import annotations

import atexit
import base64
import contextlib
import json
import os
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import IO, TYPE_CHECKING, Any, cast

from pipeline.errors import DatabaseBusy, PriorjobsError
from pipeline.terminal.exit_message import as_told
from pipeline.terminal.views import SCORES, checked
from pipeline.values.missing import none_where_missing

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.workshop import Workshop

Tell = Callable[[str], None]

_turn = threading.Lock()
_idle: list[subprocess.Popen[bytes]] = []  # at most one: what it has read of the libraries need not be read again


def apart(work: str, db: Path, tell: Tell, *given: str) -> Any:
    """Do one of `WORKS` in a program of its own, and give its result.

    Raises
    ------
    PriorjobsError
        As the work does, or it was ended from outside.
    """
    program = _program()
    stdin, stdout = cast("IO[bytes]", program.stdin), cast("IO[bytes]", program.stdout)
    try:
        _write(stdin, (work, str(db), given))
        while isinstance(told := _read(stdout), str):
            tell(told)
    except (EOFError, OSError) as ended:
        _end(program)
        raise PriorjobsError("This work was stopped before it was finished.", "Start it again.") from ended
    with _turn:
        is_kept = not _idle
        _idle.extend([program] * is_kept)
    if not is_kept:
        _end(program)
    result, fault = told
    if fault is not None:
        code, what, remedy = fault
        raised = (DatabaseBusy if code == DatabaseBusy.code else PriorjobsError)(what, remedy)
        raised.code = code
        raise raised
    return result


def _write(pipe: IO[bytes], what: Any) -> None:
    """One line of JSON; what is no number, text, list or table is written as its text."""
    pipe.write(json.dumps(what, default=lambda one: one.item() if hasattr(one, "item") else str(one)).encode() + b"\n")
    pipe.flush()


def _read(pipe: IO[bytes]) -> Any:
    if not (line := pipe.readline()).endswith(b"\n"):
        raise EOFError
    return json.loads(line)


def rows_of(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """Rows as plain values, None where nothing is known."""
    return [{str(name): value for name, value in row.items()} for row in none_where_missing(frame).to_dict("records")]


def _program() -> subprocess.Popen[bytes]:
    """The idle program, or another."""
    with _turn:
        idle = _idle.pop() if _idle else None
    if idle is not None and idle.poll() is None:
        return idle
    if idle is not None:
        _end(idle)
    found_in = os.pathsep.join([str(Path(__file__).parents[2]), *filter(None, sys.path)])
    return subprocess.Popen(  # noqa: S603 - this program itself
        [sys.executable, "-P", "-m", __name__],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": found_in},
    )


def _end(program: subprocess.Popen[bytes]) -> None:
    with contextlib.suppress(OSError):
        program.communicate()


@atexit.register
def close() -> None:
    """End the idle program."""
    while _idle:
        _end(_idle.pop())


def _train(workshop: Workshop, tell: Tell) -> dict[str, Any]:
    before = workshop.models()
    in_use = before.loc[before["is_in_use"].astype(bool), "model"].tolist()
    told: dict[str, Any] = workshop.train(tell=tell)
    compared = workshop.compare_models(in_use[0], told["model"]).round(3).values.tolist() if in_use else []
    scored = {"": told["scores"], **told["baselines"]} if told["scores"] else {}
    ways = [(way, [round(scores[name], 3) for name in SCORES]) for way, scores in scored.items()]
    return told | {"ways": ways, "compared": compared, "before": in_use[0] if in_use else None}


def _month(workshop: Workshop, _: Tell, view: str) -> dict[str, Any]:
    """The figures of a period, the advice that stands, what came of the advice taken up, in the workshop's language."""
    from pipeline.advice.adopted import list_advice
    from pipeline.advice.find import advice
    from pipeline.month import advice_rows as month_advice
    from pipeline.month.month import gather
    from pipeline.month.scope import find_scope
    from reports.pages.advice_rows import adopted_rows, advice_rows
    from reports.pages.headline import figures, sentence
    from reports.render.wording import in_language

    connection, words, settings = workshop.database.connection, workshop.words, workshop.settings
    found = advice(connection, words)
    scope = find_scope(connection, words=words, **{"month": None, **json.loads(view)})
    made = gather(connection, scope, month_advice.standing(connection, words, found))
    wording = in_language(settings.locale, settings.currency)
    period = made.now, made.before, made.changes, made.period, wording
    listed = list_advice(workshop.database, words, settings.currency, found)
    told = {row["number"]: row for row in advice_rows(made.frames["advice"], wording)}
    taken = zip(listed["adopted"], adopted_rows(made.frames["adopted"], wording), strict=True)
    standing = [row for row in listed["rows"] if not row["adopted_on"] and row["number"] in told]
    return {
        "sentence": sentence(*period),
        "figures": [vars(figure) | {"strip": None} for figure in figures(*period, made.window_days)],
        "advice": [
            {name: row[name] for name in ("number", "says", "jobs")}
            | {name: told[row["number"]][name] for name in ("do", "why", "trend", "money", "worth")}
            for row in standing
        ],
        "adopted": [
            {"advice_id": row["advice_id"]} | {name: said[name] for name in ("do", "since", "state", "counts")}
            for row, said in taken
        ],
        "cautions": listed["cautions"],
    }


def _report(workshop: Workshop, _: Tell, view: str, ending: str) -> tuple[str, str]:
    """Name and content, in base 64, of a period's report in one of its forms."""
    place = workshop.database.scratch / f"report.{ending}"
    page = place.with_suffix(".html")
    wanted: dict[str, Any] = {**json.loads(view), "out": page, **({} if page == place else {ending: place})}
    made = workshop.report(**wanted)
    return f"report-{made.scope.name}.{ending}", base64.b64encode(place.read_bytes()).decode()


def _sheets(workshop: Workshop, _: Tell, calls: str, _stamp: str) -> str:
    page = workshop.database.scratch / "sheets.html"
    workshop.round(Path(calls), page)
    return page.read_text(encoding="utf-8")


WORKS: dict[str, Callable[..., Any]] = {
    "train": _train,
    "backtest": lambda workshop, tell, page: workshop.backtest(page, tell=tell)["scores"],
    "check": lambda workshop, _: checked(workshop.status(check=True)),
    "look": lambda workshop, _: rows_of(workshop.to_review()),
    "month": _month,
    "report": _report,
    "sheets": _sheets,
}


def main() -> None:
    """Do one work after the other until the input ends."""
    out, sys.stdout = sys.stdout.buffer, sys.stderr  # whatever else is printed must not stand between what is told

    with contextlib.suppress(EOFError, KeyboardInterrupt, BrokenPipeError):
        while True:
            work, db, given = _read(sys.stdin.buffer)
            _write(out, _done(work, db, lambda said: _write(out, said), given))


def _done(work: str, db: str, tell: Tell, given: tuple[str, ...]) -> tuple[Any, tuple[str, str, str] | None]:
    from pipeline.workshop import Workshop

    try:
        with Workshop.open(db, read_only=True) as workshop:
            return WORKS[work](workshop, tell, *given), None
    except Exception as fault:
        known = fault if isinstance(fault, PriorjobsError) else as_told(fault)
        return None, (known.code, known.what, known.remedy)


if __name__ == "__main__":
    main()

"""The commands that a workshop is kept with, run in forks on a small copy, and what a success of each leaves behind."""

from __future__ import annotations

import csv
import gc
import os
import signal
import sys
import time
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from pipeline import Workshop, cli
from tests.worlds import demo_sample

SOME = 45
"""Calls in the workshop; the others of the sample are in the file that ``load`` brings."""
CUSTOMER = "C-7"
"""Whom ``forget`` forgets: one of those in the workshop."""
DB = "w.duckdb"
ANY_OF, NONE_OF = "select count(*) > 0 from", "select count(*) = 0 from"
READY = "import pandas, scipy.stats, sklearn.ensemble, altair, jinja2"


@dataclass(frozen=True)
class Command:
    """One command line, and whether what it reports is so.

    Attributes
    ----------
    words
        Behind ``priorjobs``, without ``--db``.
    is_true
        Asked of the folder after a success: is there what the command says it did?
    """

    words: str
    is_true: Callable[[Path], bool]


def _asked(query: str) -> Callable[[Path], bool]:
    def is_true(folder: Path) -> bool:
        with Workshop.open(folder / DB, read_only=True) as workshop:
            (found,) = workshop.database.connection.execute(query).fetchall()[0]
        return bool(found)

    return is_true


def _page(name: str) -> Callable[[Path], bool]:
    return lambda folder: (folder / name).read_text(encoding="utf-8").rstrip().endswith("</html>")


def _is_forgotten(folder: Path) -> bool:
    import pandas as pd

    from pipeline.load.hashes import hash_customers, load_key

    with Workshop.open(folder / DB, read_only=True) as workshop:
        hashed = hash_customers(pd.Series([CUSTOMER], dtype="str"), load_key(workshop.database.key_file))[0]
        query = (
            "select (select count(*) from raw_record where customer_ref = $h), "
            "(select count(*) from visit where customer_hash = $h)"
        )
        return workshop.database.connection.execute(query, {"h": hashed}).fetchall() == [(0, 0)]


def _has_models(least: int) -> Callable[[Path], bool]:
    def is_true(folder: Path) -> bool:
        from pipeline.train.versions import current_model

        with Workshop.open(folder / DB, read_only=True) as workshop:
            return len(workshop.models()) >= least and current_model(workshop.database) is not None

    return is_true


def _is_table(folder: Path) -> bool:
    with (folder / "visits.csv").open(encoding="utf-8-sig", newline="") as file:
        header, *rows = csv.reader(file)
    return len(rows) > 0 and all(len(row) == len(header) for row in rows)


def _is_backup(folder: Path) -> bool:
    with zipfile.ZipFile(folder / "kept.zip") as archive:
        return archive.testzip() is None and any(name.endswith(".duckdb") for name in archive.namelist())


def _is_restored(folder: Path) -> bool:
    with Workshop.open(folder / "restored.duckdb", read_only=True) as workshop:
        return len(workshop.table("visit")) > 0


def _nothing_more(_folder: Path) -> bool:
    return True


def every() -> dict[str, Command]:
    """Commands by name; each works in the folder that `prepare` filled."""
    return {
        "load": Command("load more.csv", _asked(f"{ANY_OF} counted_record join load_batch using (batch_id) where file_name = 'more.csv'")),
        "take-back": Command(
            "take-back 2 --yes", _asked(f"{NONE_OF} counted_record join load_batch using (batch_id) where file_name = 'wrong.csv'")
        ),
        "train": Command("train --force", _has_models(2)),
        "causes": Command("causes --kind washing-machine --complaint leaks", _nothing_more),
        "round": Command("round calls.csv --out round.html", _page("round.html")),
        "report": Command("report --out month.html", _page("month.html")),
        "advice": Command("advice", _nothing_more),
        "models": Command("models use 0001", _has_models(1)),
        "review": Command("review --decisions words.csv", _asked("select count(*) = 1 from correction where undone_at is null")),
        "export": Command("export visit visits.csv", _is_table),
        "forget": Command(f"forget {CUSTOMER} --yes", _is_forgotten),
        "status": Command("status --check", _nothing_more),
        "backup": Command("backup kept.zip", _is_backup),
        "restore": Command("restore before.zip --db restored.duckdb", _is_restored),
    }  # fmt: skip


def prepare(folder: Path) -> None:
    """Fill a folder with a small workshop: two files loaded, a model, a backup, and what the commands read."""
    folder.mkdir()
    demo_sample.write_jobs(folder / "some.csv")
    header, *calls = (folder / "some.csv").read_text(encoding="utf-8").splitlines()
    for name, lines in (("some.csv", calls[:SOME]), ("more.csv", calls[SOME:])):
        (folder / name).write_text("\n".join((header, *lines, "")), encoding="utf-8")
    (folder / "wrong.csv").write_text(
        "visit_date,appliance_kind,job_no,complaint\n2026-01-05,oven,W1,not hot\n2026-01-06,fridge,W2,warm\n"
    )
    (folder / "words.csv").write_text("list,written,decision\npart,drain pump,new: odd ring\n", encoding="utf-8")
    (folder / "calls.csv").write_text("job_no,appliance_kind,complaint\nC1,washing machine,leaks\nC2,fridge,warm\n")
    for words in ("load some.csv", "load wrong.csv", "train --force", "backup before.zip"):
        status, said = begin(folder, words, "prepare").end()
        if status:
            raise SystemExit(f"{words} fails by itself: {said}")


class Running:
    """A command in a process of its own.

    Attributes
    ----------
    child
        Its number.
    took
        Processor seconds, once it has ended.
    """

    def __init__(self, child: int, said: Path) -> None:
        self.child, self._said = child, said
        self.took = 0.0

    def kill_after(self, processor_seconds: float, how: signal.Signals) -> None:
        """Send it a signal when it has taken so much of the processor, or leave it where it ends before.

        Seconds of the clock would come early in its work whenever the machine has more to do than when it was measured.
        """
        clock = (~self.child << 3) | 2  # Linux's clock of all threads of a process (clock_getcpuclockid)
        while os.waitid(os.P_PID, self.child, os.WEXITED | os.WNOHANG | os.WNOWAIT) is None:
            if time.clock_gettime(clock) >= processor_seconds:
                os.kill(self.child, how)
                return
            time.sleep(0.001)

    def end(self, most_seconds: float = 300) -> tuple[int | None, str]:
        """Wait for the end; its status (negative = the signal; None = it hung and was killed) and what it wrote."""
        until = time.monotonic() + most_seconds
        while True:
            ended, how, used = os.wait4(self.child, os.WNOHANG)
            if ended:
                self.took = used.ru_utime + used.ru_stime
                return os.waitstatus_to_exitcode(how), self._said.read_text(encoding="utf-8", errors="replace")
            if time.monotonic() > until:
                os.kill(self.child, signal.SIGKILL)
                os.waitpid(self.child, 0)
                return None, "hung"
            time.sleep(0.005)


def begin(folder: Path, words: str, name: str) -> Running:
    """Start a command in a fork of this process, which must have opened no database."""
    said = folder / f"{name}.said"
    child = os.fork()
    if child == 0:
        gc.freeze()
        signal.signal(signal.SIGINT, signal.default_int_handler)  # ignored where this runs in the background
        out = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(out, 1)
        os.dup2(out, 2)
        sys.stdout, sys.stderr = (os.fdopen(n, "w", encoding="utf-8", closefd=False) for n in (1, 2))
        os.environ["PRIORJOBS_DB"] = DB
        os.chdir(folder)
        sys.argv = ["priorjobs", *(word.replace("washing-machine", "washing machine") for word in words.split())]
        status = 99
        try:
            cli.main()
        except SystemExit as stop:
            status = int(stop.code or 0)
        except BaseException as fault:
            print(f"Traceback: {fault!r}")
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)
    return Running(child, said)

"""Thousands of hostile files through the real load: nothing raised but a clear refusal, nothing hangs, swells or leaks.

Run: python -m tests.benchmarks.robustness.hostile [FILES] [SEED]   (5,000 files from seed 0 by default; two workers)

A root user is bound by the rights of files (its capabilities to pass over them are given up; Linux).

Each worker is a process of its own with an audit hook: opening a file outside the given folder, the program and
Python's own, starting a program or reaching for the network is counted as a fault. Times are processor seconds, so that
other work on the machine does not count. A fault names the maker and the seed that make its file again.
"""

from __future__ import annotations

import collections
import hashlib
import json
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from tests.command_in_fork import bound_by_rights
from tests.worlds import hostile_files, hostile_workshops

ROOT = Path(__file__).resolve().parents[3]
MOST_SECONDS = 10.0
MOST_MEMORY = 2_000_000  # kilobytes
FILES_A_WORKSHOP = 50  # a workshop is begun anew after so many files
CHUNK = 250  # files a worker process
KINDS = ("csv", "xlsx", "json", "csv", "parquet", "layout", "words", "archive", "model", "noise", "database", "rights")
TABLES = ("load_batch", "raw_record", "rejected_record", "stage_visit", "visit")
COUNTS = "select " + ", ".join(f"(select count(*) from {table})" for table in TABLES)
outside: list[str] = []


class Hang(BaseException):
    """More processor time than any file may take."""


def watch(work: Path) -> None:
    """Note every file opened outside what a load has business with, every program started, every connection."""
    ours = (work, ROOT, sys.prefix, sys.base_prefix, *filter(None, sys.path))
    allowed = (*map(str, ours), "/proc", "/sys", "/dev", "/usr", "/etc/localtime")
    scratch = str(Path(tempfile.gettempdir()) / "priorjobs-")

    def hook(event: str, args: tuple[Any, ...]) -> None:
        if event == "open" and isinstance(args[0], str | bytes):
            path = str(Path(os.fsdecode(args[0])).absolute())
            if not path.startswith((*allowed, scratch)):
                outside.append(f"open {path}")
        elif event in (
            "os.system",
            "subprocess.Popen",
            "os.exec",
            "os.posix_spawn",
            "socket.connect",
            "socket.getaddrinfo",
        ):
            outside.append(f"{event} {str(args)[:100]}")

    sys.addaudithook(hook)


def made_model(folder: Path) -> Path:
    """Fit a small model and store it: what the model folders are damaged from."""
    import numpy as np
    import pandas as pd

    from models.causes import storage
    from models.causes.classifier import CauseClassifier

    rng = np.random.default_rng(0)
    seen = pd.DataFrame(
        {
            "kind": rng.choice(["washing machine", "oven"], 200),
            "age_years": rng.uniform(0, 12, 200),
            "symptom: does not drain": rng.random(200) < 0.5,
            "finding: water left": rng.choice(["yes", "no"], 200),
        }
    )
    cause = np.where(seen["finding: water left"] == "yes", rng.choice(["pump", "filter"], 200), "sensor")
    storage.save(
        CauseClassifier().fit(seen, cause).model_, folder, {"model": "0001", "episodes": 200, "as_of": "2025-01-01"}
    )
    return folder


def try_load(kind: str, rng: random.Random, folder: Path, workshop: Any) -> str:
    """Load one hostile file; returns how it ended."""
    from pipeline.errors import PriorjobsError

    path = hostile_files.LOADABLE[kind](rng, folder)
    connection = workshop.database.connection
    before = connection.execute(COUNTS).fetchall()
    try:
        own = path if kind == "layout" else None
        report = workshop.load([folder / "jobs.csv" if own else path], layout=own)
    except PriorjobsError:
        if kind != "archive" and connection.execute(COUNTS).fetchall() != before:
            return "FAULT half loaded"
        return "refused"
    if any(file.read != file.loaded + file.unchanged + file.rejected for file in report.files):
        return "FAULT counts"
    return "loaded"


def try_words(rng: random.Random, folder: Path) -> str:
    """Read one hostile word list and use it."""
    import pandas as pd

    from pipeline.errors import PriorjobsError
    from pipeline.words import Words

    texts, kinds = pd.Series(["humming and coin found", "stops before spin"]), pd.Series(["washing machine"] * 2)
    try:
        words = Words.load(("en",), [hostile_workshops.make_words(rng, folder)])
    except PriorjobsError:
        return "refused"
    words.find_symptoms(texts, kinds)
    words.find_findings(texts, kinds)
    words.codes(pd.Series(["K07", "red blinks"]), pd.Series(["Ostrel", "Brell"]))
    for name in ("kind", "part", "outcome", "make", "cause"):
        words.match(name, texts, kinds)
    for table in (
        words.term_table,
        words.cure_table,
        words.symptom_group_table,
        words.faults,
        words.checks,
        words.parts,
    ):
        table()
    return "loaded"


def try_model(rng: random.Random, folder: Path, good: Path) -> str:
    """Open one damaged model folder and ask it."""
    import numpy as np
    import pandas as pd

    from models.causes import storage

    shutil.copytree(good, folder / "model")
    hostile_workshops.damage_model(rng, folder / "model")
    try:
        told = storage.open_model(folder / "model").predict_proba(pd.DataFrame({"kind": ["oven", None]}))
    except storage.ModelUnreadable:
        return "refused"
    finally:
        if (Path.cwd() / "code-ran").exists():
            outside.append("code ran")
    return "loaded" if np.isfinite(told).all() else "FAULT probabilities"


def try_database(rng: random.Random, folder: Path, good: Path) -> str:
    """Load into a database that another maker made, or that was bent: refused, or whole afterwards."""
    import sql
    from pipeline.errors import PriorjobsError
    from pipeline.workshop import Workshop

    path = hostile_workshops.make_database(rng, folder, good)
    (folder / "jobs.csv").write_text(
        "visit_date,appliance_kind,job_no,complaint\n2025-01-02,W/M,J1,LEAKS\n", encoding="utf-8"
    )
    try:
        with Workshop.open(path) as workshop:
            workshop.load([folder / "jobs.csv"])
            held = workshop.table("visit_symptom")["symptom"].tolist()
            broken = [name for name, rows in sql.offenders(workshop.database.connection).items() if rows]
    except PriorjobsError:
        return "refused"
    return "loaded" if held == ["leaks"] and not broken else f"FAULT wrong books {held} {broken}"


def made_shop(folder: Path, model: Path) -> Path:
    """A workshop with a job, a model, settings and a backup: what rights are taken from."""
    from pipeline.store.backup import write_backup
    from pipeline.train.versions import put_in_use
    from pipeline.workshop import Workshop

    header = "visit_date,appliance_kind,job_no,customer_ref,complaint\n"
    (folder / "out").mkdir(parents=True)
    (folder / "some.csv").write_text(f"{header}2025-01-02,W/M,J1,C-1017,leaks\n")
    (folder / "jobs.csv").write_text(f"{header}2025-02-03,W/M,J2,C-1018,leaks\n")
    (folder / "shop.toml").write_text("window_days = 28\n")
    shutil.copytree(model, folder / "shop.models" / "0001")
    with Workshop.open(folder / "shop.duckdb") as workshop:
        workshop.load([folder / "some.csv"])
        put_in_use(workshop.database, "0001")
    write_backup(folder / "shop.duckdb", folder / "kept.zip")
    return folder


def rights_task(rng: random.Random, shop: Path) -> Callable[[], bool]:
    """One thing done with a workshop, which says whether it is there as told."""
    from pipeline.store.backup import restore_backup, write_backup
    from pipeline.workshop import Workshop

    def with_workshop(do: Callable[[Any], object], is_true: Callable[[Any], bool]) -> Callable[[], bool]:
        def task() -> bool:
            with Workshop.open(shop / "shop.duckdb") as workshop:
                do(workshop)
                return is_true(workshop)

        return task

    def file_of(write: Callable[[Path], object], name: str) -> Callable[[], bool]:
        return lambda: write(shop / "out" / name) is not None and (shop / "out" / name).stat().st_size > 0

    def exported(w: Any) -> object:
        return w.export("visit", shop / "out" / "visits.csv")

    return rng.choice(
        (
            with_workshop(lambda w: w.load([shop / "jobs.csv"]), lambda w: len(w.table("visit")) == 2),
            with_workshop(lambda w: w.forget("C-1017"), lambda w: w.forget("C-1017")["raw_lines"] == 0),
            with_workshop(exported, lambda _: (shop / "out" / "visits.csv").exists()),
            with_workshop(lambda w: w.use_model("0001"), lambda w: w.status()["model"]["name"] == "0001"),
            with_workshop(lambda w: w.status(check=True), lambda _: True),
            with_workshop(lambda w: w.causes(kind="oven", complaint="not hot"), lambda _: True),
            file_of(lambda place: write_backup(shop / "shop.duckdb", place), "new.zip"),
            file_of(lambda place: restore_backup(shop / "kept.zip", place), "new.duckdb"),
        )
    )


def try_rights(rng: random.Random, folder: Path, good: Path) -> str:
    """Work where something may not be read or written: refused with nothing changed, or done as told."""
    import sql
    from pipeline.errors import PriorjobsError
    from pipeline.workshop import Workshop

    shop = shutil.copytree(good, folder / "shop")
    task = rights_task(rng, shop)
    before = contents(shop)
    try:
        with hostile_workshops.without_rights(rng, shop):
            ended = "loaded" if task() else "FAULT not as told"
    except (PriorjobsError, OSError):  # the command line tells either in a sentence and a remedy
        after = contents(shop)
        ended = "refused" if after == before else f"FAULT changed {sorted({*after.items()} ^ {*before.items()})}"
    with Workshop.open(shop / "shop.duckdb") as workshop:
        broken = [name for name, rows in sql.offenders(workshop.database.connection).items() if rows]
    return f"FAULT broken {broken}" if broken else ended


def contents(folder: Path) -> dict[str, bytes]:
    """Every file with something in it."""
    found = {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    return {name: hashlib.sha256(content).digest() for name, content in found.items() if content}


def judged(task: Callable[[], str], empty: Path) -> tuple[str, float, str]:
    """Run a trial within bounds; how it ended, the processor seconds it took, and what is wrong."""
    began, detail = time.process_time(), ""
    signal.setitimer(signal.ITIMER_PROF, 3 * MOST_SECONDS)
    try:
        ended = task()
    except Hang:
        ended = "FAULT hang"
    except Exception as fault:
        frames = traceback.extract_tb(fault.__traceback__)[-3:]
        ended = f"FAULT {type(fault).__name__}"
        detail = f"{str(fault)[:120]} at {' > '.join(f'{Path(f.filename).name}:{f.lineno}' for f in frames)}"
    signal.setitimer(signal.ITIMER_PROF, 0)
    seconds = time.process_time() - began
    if seconds > MOST_SECONDS and not ended.startswith("FAULT"):
        ended = "FAULT slow"
    if outside:
        ended, detail = "FAULT outside", "; ".join(outside[:3])
        outside.clear()
    if written := list(empty.iterdir()):
        ended, detail = "FAULT wrote where it stood", str(written)
    return ended, seconds, detail


def work(first: int, last: int) -> None:
    """Try files first to last - 1; one JSON line of results each."""
    from pipeline.workshop import Workshop

    warnings.simplefilter("error")
    folder = Path(tempfile.mkdtemp(prefix="hostile-"))
    empty = folder / "empty"
    empty.mkdir()
    os.chdir(empty)
    good_model = made_model(folder / "model")
    good = folder / "good.duckdb"
    Workshop.open(good).close()
    good_shop = made_shop(folder / "shop", good_model)
    bound_by_rights()
    watch(folder)
    signal.signal(signal.SIGPROF, lambda *_: (_ for _ in ()).throw(Hang()))
    workshop = None
    for number in range(first, last):
        if workshop is None or number % FILES_A_WORKSHOP == 0:
            end(workshop, number)
            workshop = Workshop.open(folder / f"{number}.duckdb")
            _ = workshop.words
        kind, rng, place = KINDS[number % len(KINDS)], random.Random(number), folder / f"file-{number}"
        place.mkdir()
        task = {
            "words": partial(try_words, rng, place),
            "model": partial(try_model, rng, place, good_model),
            "database": partial(try_database, rng, place, good),
            "rights": partial(try_rights, rng, place, good_shop),
        }.get(kind, partial(try_load, kind, rng, place, workshop))
        ended, seconds, detail = judged(task, empty)
        memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        print(json.dumps([number, kind, ended, round(seconds, 2), memory, detail]), flush=True)
        shutil.rmtree(place, ignore_errors=True)
    end(workshop, last)
    os.chdir(ROOT)
    shutil.rmtree(folder)


def end(workshop: Any, number: int) -> None:
    """Report what the loaded files broke of the rules of the tables, and close the workshop."""
    import sql

    if workshop is not None:
        broken = {name: len(rows) for name, rows in sql.offenders(workshop.database.connection).items() if len(rows)}
        if broken:
            print(json.dumps([number, "tables", "FAULT rules", 0, 0, str(broken)]), flush=True)
        workshop.close()


def main(files: int, seed: int) -> int:
    """Run workers over all files and print what came of each kind."""
    chunks = [(start, min(start + CHUNK, seed + files)) for start in range(seed, seed + files, CHUNK)]
    running: list[tuple[subprocess.Popen[str], tuple[int, int]]] = []
    ended: collections.Counter[tuple[str, str]] = collections.Counter()
    slowest: collections.defaultdict[str, float] = collections.defaultdict(float)
    memory = 0
    faults: list[str] = []
    while chunks or running:
        while chunks and len(running) < 2:
            chunk = chunks.pop(0)
            command = [
                sys.executable,
                "-m",
                "tests.benchmarks.robustness.hostile",
                "--work",
                str(chunk[0]),
                str(chunk[1]),
            ]
            running.append((subprocess.Popen(command, stdout=subprocess.PIPE, text=True), chunk))
        process, chunk = running.pop(0)
        out, _ = process.communicate()
        rows = [json.loads(line) for line in out.splitlines() if line.startswith("[")]
        for number, kind, how, seconds, held, detail in rows:
            ended[kind, how.split()[0] if how.startswith("FAULT") else how] += 1
            slowest[kind] = max(slowest[kind], seconds)
            memory = max(memory, held)
            if how.startswith("FAULT"):
                faults.append(f"{kind} {number}: {how} {detail}")
        tried = sum(kind != "tables" for _, kind, *_ in rows)
        if process.returncode or tried != chunk[1] - chunk[0]:
            faults.append(f"worker {chunk}: ended with {process.returncode} after file {chunk[0] + tried}")
            if tried < chunk[1] - chunk[0] - 1:
                chunks.append((chunk[0] + tried + 1, chunk[1]))
    if memory > MOST_MEMORY:
        faults.append(f"memory: {memory / 1e6:.1f} GB")
    print(f"{'kind':10s} {'loaded':>8s} {'refused':>8s} {'faults':>8s} {'slowest, processor seconds':>28s}")
    for kind in dict.fromkeys(KINDS):
        counts = "".join(f"{ended[kind, how]:9d}" for how in ("loaded", "refused", "FAULT"))
        print(f"{kind:10s}{counts}{slowest[kind]:29.1f}")
    print(f"{sum(ended.values()):,} files, largest process {memory / 1e6:.2f} GB, faults: {len(faults)}")
    print("\n".join(faults[:40]))
    return bool(faults)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--work"]:
        work(int(sys.argv[2]), int(sys.argv[3]))
    else:
        sys.exit(main(*(int(n) for n in (sys.argv[1:] + ["5000", "0"][len(sys.argv) - 1 :]))))

"""Kills loads, trainings, reports, forgets and reviews at random moments: all is there or none, and can be done again.

Run: python -m tests.benchmarks.robustness.kill [KILLS] [SEED] [WORK...]   (200 by default, shared out over the five)

Each trial copies a small workshop, starts the work in a process of its own, kills it (SIGKILL) after a random part of
the time that the work takes when left alone, and looks: the database opens, its tables keep their rules, its rows are
those from before or those from after, every listed model opens, every page written is whole. Then the work is done
again and must end as if it had never been killed.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from typing import Any

import demo_data
import sql
from pipeline import Workshop
from pipeline.train import train

BASE_LINES, MORE_LINES = 600, 200
PAGE = "page.html"
WORK = ("load", "train", "report", "forget", "decide")
DECISIONS = "words.csv"
UNFINISHED = (".tmp", ".part", ".new", ".draft", ".unfinished", ".compacting", ".restoring")
TABLES = (
    "correction",
    "load_batch",
    "raw_record",
    "rejected_record",
    "stage_visit",
    "visit",
    "appliance",
    "episode",
    "part_verdict",
)


def lines_of_demo(first: int, last: int) -> str:
    """A header and some records of the demo, cut where no cell holds a line end."""
    header, *lines = Path(demo_data.FILES["jobs"]).read_text(encoding="utf-8").splitlines()
    return "\n".join([header, *(line for line in lines[first:last] if line.count('"') % 2 == 0)]) + "\n"


def do(work: str, folder: Path, customer: str) -> None:
    """One piece of work on the workshop in a folder."""
    with Workshop.open(folder / "w.duckdb") as workshop:
        if work == "load":
            workshop.load([folder / "more.csv"])
        elif work == "train":
            workshop.train(force=True)
        elif work == "report":
            workshop.report(out=folder / PAGE)
        elif work == "decide":
            workshop.take_decisions(folder / DECISIONS)
        else:
            workshop.forget(customer)


def state(folder: Path, customer: str) -> dict[str, Any]:
    """What the workshop holds: rows, the customer's visits, models, pages; raises where anything is damaged."""
    import pandas as pd

    from pipeline.load.privacy import hash_customers, load_key

    with Workshop.open(folder / "w.duckdb") as workshop:
        connection = workshop.database.connection
        broken = {name: len(rows) for name, rows in sql.offenders(connection).items() if len(rows)}
        counts: dict[str, Any] = {
            table: connection.execute(f"select count(*) from {table}").fetchall()[0][0] for table in TABLES
        }
        counts["parts"] = connection.execute("select part, count(*) from stage_part group by 1 order by 1").fetchall()
        counts["words"] = connection.execute("select count(*) from word_use where term is null").fetchall()
        hashed = hash_customers(pd.Series([customer], dtype="str"), load_key(workshop.database.key_file))[0]
        visits, lines = (
            connection.execute(f"select count(*) from {table} where {column} = ?", [hashed]).fetchall()[0][0]
            for table, column in (("visit", "customer_hash"), ("raw_record", "customer_ref"))
        )
        models_listed = len(workshop.models())
        train.current_model(workshop.database)
    page = (folder / PAGE).read_text(encoding="utf-8") if (folder / PAGE).exists() else ""
    if page and not page.rstrip().endswith("</html>"):
        broken["page is cut"] = 1
    return {
        "broken": broken,
        "counts": counts,
        "customer": [visits, lines],
        "models": models_listed,
        "page": bool(page),
        "left over": sorted(p.name for p in folder.iterdir() if p.name.endswith(UNFINISHED)),
    }


def apart(task: Callable[[], Any], kill_after: float | None = None) -> tuple[Any, float]:
    """Run a task in a process of its own; returns what it gave (None when killed) and the seconds it took."""
    read_end, write_end = os.pipe()
    began = time.monotonic()
    child = os.fork()
    if child == 0:
        os.close(read_end)
        os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
        try:
            told: Any = {"gave": task()}
        except BaseException as fault:
            where = traceback.extract_tb(fault.__traceback__)[-1]
            told = {
                "fault": f"{type(fault).__name__}: {str(fault)[:200]} at {Path(where.filename).name}:{where.lineno}"
            }
        os.write(write_end, json.dumps(told).encode())
        os._exit(0)
    os.close(write_end)
    if kill_after is not None:
        time.sleep(kill_after)
        os.kill(child, signal.SIGKILL)
    with os.fdopen(read_end, "rb") as pipe:
        told = pipe.read()
    os.waitpid(child, 0)
    return (json.loads(told) if told else None), time.monotonic() - began


def known(told: Any) -> Any:
    """What an unharmed process gave."""
    if told is None or "fault" in told:
        raise SystemExit(f"the work fails without being killed: {told}")
    return told["gave"]


def main(kills: int, seed: int, works: list[str]) -> int:
    """Kill and look; prints a table and the faults."""
    folder = Path(tempfile.mkdtemp(prefix="kill-"))
    base = folder / "base"
    base.mkdir()
    (base / "some.csv").write_text(lines_of_demo(0, BASE_LINES), encoding="utf-8")
    (base / "more.csv").write_text(lines_of_demo(BASE_LINES, BASE_LINES + MORE_LINES), encoding="utf-8")
    (base / DECISIONS).write_text("list,written,decision\npart,door seal,new: odd ring\n", encoding="utf-8")
    refs = Counter(line.split(",")[3] for line in lines_of_demo(0, BASE_LINES).splitlines()[1:] if line.split(",")[3])
    customer = refs.most_common(1)[0][0]

    def begin() -> None:
        with Workshop.open(base / "w.duckdb") as workshop:
            workshop.load([base / "some.csv"])

    known(apart(begin)[0])
    before = known(apart(lambda: state(base, customer))[0])
    after: dict[str, Any] = {}
    took: dict[str, float] = {}
    for work in works:
        place = folder / f"alone-{work}"
        shutil.copytree(base, place)
        told, took[work] = apart(lambda work=work, place=place: do(work, place, customer))
        known(told)
        after[work] = known(apart(lambda place=place: state(place, customer))[0])
        shutil.rmtree(place)
    rng = random.Random(seed)
    ended: Counter[tuple[str, str]] = Counter()
    faults: list[str] = []
    for number in range(kills):
        work = works[number % len(works)]
        place = folder / f"{number}"
        shutil.copytree(base, place)
        moment = rng.uniform(0, took[work])
        done, _ = apart(lambda work=work, place=place: do(work, place, customer), moment)
        told, _ = apart(lambda place=place: state(place, customer))
        found = told.get("gave") if told else None
        if found is None:
            how = f"FAULT cannot be opened: {told}"
        elif found["broken"]:
            how = f"FAULT damaged: {found['broken']}"
        elif found["counts"] not in (before["counts"], after[work]["counts"]) or (
            found["models"] not in (before["models"], after[work]["models"])
        ):
            how = f"FAULT half done: {found}"
        elif found["customer"] not in (before["customer"], after[work]["customer"]):
            how = f"FAULT half forgotten: {found['customer']}"
        else:
            is_all = {k: found[k] for k in ("counts", "customer", "models", "page")} == {
                k: after[work][k] for k in ("counts", "customer", "models", "page")
            }
            how = "all" if is_all else "none"
        again, _ = apart(lambda work=work, place=place: do(work, place, customer))
        final, _ = apart(lambda place=place: state(place, customer))
        if again is None or "fault" in again:
            how = f"FAULT cannot be done again: {again}"
        elif final is None or "fault" in final or final["gave"]["broken"]:
            how = f"FAULT damaged after the second run: {final}"
        elif final["gave"]["counts"] != after[work]["counts"] or final["gave"]["customer"] != after[work]["customer"]:
            how = f"FAULT other rows after the second run: {final['gave']['counts']}"
        elif final["gave"]["left over"]:
            how = f"FAULT left over: {final['gave']['left over']}"
        ended[work, how.split()[0]] += 1
        print(f"{number + 1}/{kills} {work}: {how}", file=sys.stderr)
        if how.startswith("FAULT"):
            faults.append(f"{work} killed after {moment:.2f} of {took[work]:.2f} s (trial {number}): {how}")
        del done
        shutil.rmtree(place)
    print(f"{'work':8s} {'seconds alone':>14s} {'all':>6s} {'none':>6s} {'faults':>7s}")
    for work in works:
        print(
            f"{work:8s} {took[work]:14.2f} {ended[work, 'all']:6d} {ended[work, 'none']:6d} {ended[work, 'FAULT']:7d}"
        )
    print("\n".join(faults))
    shutil.rmtree(folder)
    return bool(faults)


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdecimal()]
    asked = [word for word in sys.argv[1:] if word in WORK] or list(WORK)
    sys.exit(main(*(numbers + [200, 0][len(numbers) :])[:2], asked))

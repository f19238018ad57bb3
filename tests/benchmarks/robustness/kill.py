"""Kills every command at random moments: all is there or none, and it can be done again.

Run: python -m tests.benchmarks.robustness.kill [KILLS] [SEED] [COMMAND...]   (200 by default, shared out over the 14)

Each trial copies a small workshop, starts the command in a process of its own, kills it (SIGKILL) after a random part
of the time that it takes when left alone, and looks: the database opens, its tables keep their rules, its rows are
those from before or those from after, every listed model opens, every file written is whole. Then the command is given
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

import sql
from pipeline import Workshop
from pipeline.train import train
from tests.benchmarks.robustness.commands import DB, READY, begin, customer, every, prepare

UNFINISHED = (".tmp", ".part", ".new", ".draft", ".unfinished", ".compacting", ".restoring")
WRITES = {
    "round": "round.html", "report": "month.html", "export": "visits.csv", "backup": "kept.zip",
    "restore": "restored.duckdb",
}  # fmt: skip
TABLES = (
    "correction",
    "load_batch",
    "raw_record",
    "counted_record",
    "rejected_record",
    "stage_visit",
    "visit",
    "appliance",
    "episode",
    "part_verdict",
)


def state(folder: Path) -> dict[str, Any]:
    """What the workshop holds: rows, the customer's visits, models, files; raises where anything is damaged."""
    import pandas as pd

    from pipeline.load.privacy import hash_customers, load_key

    with Workshop.open(folder / DB) as workshop:
        connection = workshop.database.connection
        broken = {name: len(rows) for name, rows in sql.offenders(connection).items() if len(rows)}
        counts: dict[str, Any] = {
            table: connection.execute(f"select count(*) from {table}").fetchall()[0][0] for table in TABLES
        }
        counts["parts"] = connection.execute("select part, count(*) from stage_part group by 1 order by 1").fetchall()
        counts["words"] = connection.execute("select count(*) from word_use where term is null").fetchall()
        hashed = hash_customers(pd.Series([customer()], dtype="str"), load_key(workshop.database.key_file))[0]
        visits, lines = (
            connection.execute(f"select count(*) from {table} where {column} = ?", [hashed]).fetchall()[0][0]
            for table, column in (("visit", "customer_hash"), ("raw_record", "customer_ref"))
        )
        models_listed = len(workshop.models())
        train.current_model(workshop.database)
    commands = every()
    for name, file in WRITES.items():
        if name != "restore" and (folder / file).exists() and not commands[name].is_true(folder):
            broken[f"{file} is cut"] = 1
    return {
        "broken": broken,
        "counts": counts,
        "customer": [visits, lines],
        "models": models_listed,
        "files": [file for file in WRITES.values() if (folder / file).exists()],
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
        raise SystemExit(f"it fails without being killed: {told}")
    return told["gave"]


def found_after_kill(folder: Path, before: dict[str, Any], after: dict[str, Any]) -> str:
    """Say "all", "none", or what is wrong with a workshop after a kill."""
    told, _ = apart(lambda: state(folder))
    found = told.get("gave") if told else None
    if found is None:
        return f"FAULT cannot be opened: {told}"
    if found["broken"]:
        return f"FAULT damaged: {found['broken']}"
    for what in ("counts", "customer", "models"):
        if found[what] not in (before[what], after[what]):
            return f"FAULT half done: {what} {found[what]}"
    return "all" if all(found[what] == after[what] for what in ("counts", "customer", "models", "files")) else "none"


def found_after_again(folder: Path, name: str, status: int | None, said: str, after: dict[str, Any]) -> str:
    """Say what is wrong after the command was given again; empty = nothing."""
    if status not in (0, 1, 2):
        return f"FAULT cannot be done again: {status} {said[-300:]}"
    final, _ = apart(lambda: state(folder))
    if final is None or "fault" in final or final["gave"]["broken"]:
        return f"FAULT damaged after the second run: {final}"
    held = final["gave"]
    if held["counts"] != after["counts"] or held["customer"] != after["customer"]:
        return f"FAULT other rows after the second run: {held['counts']}"
    if held["left over"]:
        return f"FAULT left over: {held['left over']}"
    is_there, _ = apart(lambda: every()[name].is_true(folder))
    return "" if is_there == {"gave": True} else f"FAULT not there after the second run: {is_there}"


def main(kills: int, seed: int, names: list[str]) -> int:
    """Kill and look; prints a table and the faults."""
    exec(READY)  # once, before the forks
    folder = Path(tempfile.mkdtemp(prefix="kill-"))
    base = folder / "base"
    prepare(base)
    commands = every()
    before = known(apart(lambda: state(base))[0])
    after: dict[str, Any] = {}
    took: dict[str, float] = {}
    for name in names:
        place = folder / f"alone-{name}"
        shutil.copytree(base, place)
        began = time.monotonic()
        status, said = begin(place, commands[name].words, "alone").end()
        took[name] = time.monotonic() - began
        if status not in (0, 1):
            raise SystemExit(f"{name} fails without being killed: {said}")
        after[name] = known(apart(lambda place=place: state(place))[0])
        shutil.rmtree(place)
    rng = random.Random(seed)
    ended: Counter[tuple[str, str]] = Counter()
    faults: list[str] = []
    for number in range(kills):
        name = names[number % len(names)]
        place = folder / f"{number}"
        shutil.copytree(base, place)
        moment = rng.uniform(0, took[name])
        running = begin(place, commands[name].words, "killed")
        time.sleep(moment)
        os.kill(running.child, signal.SIGKILL)
        running.end()
        how = found_after_kill(place, before, after[name])
        status, said = begin(place, commands[name].words, "again").end()
        how = found_after_again(place, name, status, said, after[name]) or how
        ended[name, how.split()[0]] += 1
        print(f"{number + 1}/{kills} {name}: {how}", file=sys.stderr, flush=True)
        if how.startswith("FAULT"):
            faults.append(f"{name} killed after {moment:.2f} of {took[name]:.2f} s (trial {number}): {how}")
        shutil.rmtree(place)
    print(f"{'command':10s} {'seconds alone':>14s} {'all':>6s} {'none':>6s} {'faults':>7s}")
    for name in names:
        print(f"{name:10s} {took[name]:14.2f}" + "".join(f" {ended[name, how]:6d}" for how in ("all", "none", "FAULT")))
    print("\n".join(faults))
    shutil.rmtree(folder)
    return bool(faults)


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdecimal()]
    asked = [word for word in sys.argv[1:] if word in every()] or list(every())
    sys.exit(main(*(numbers + [200, 0][len(numbers) :])[:2], asked))

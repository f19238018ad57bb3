"""Kills every command at random moments: all is there or none, and it can be done again.

Run: python -m tests.benchmarks.robustness.kill [KILLS] [SEED] [COMMAND...]   (200 by default, shared out over the 14)

Each trial copies a small workshop, starts the command in a process of its own, ends it by a signal after a random part of
the processor time that it takes when left alone (SIGKILL every second time, else SIGTERM, SIGHUP or SIGINT), and looks: the database opens, its tables keep their rules, its rows are
those from before or those from after, every listed model opens, every file written is whole. Then the command is given
again and must end as if it had never been killed.
"""

from __future__ import annotations

import random
import shutil
import signal
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pipeline import Workshop
from pipeline.train.versions import current_model
from tests.benchmarks.robustness.commands import CUSTOMER, DB, begin, every
from tests.benchmarks.robustness.trials import Tally, apart, asked, offences, prepared

SIGNALS = (*[signal.SIGKILL] * 3, signal.SIGTERM, signal.SIGHUP, signal.SIGINT)
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

    from pipeline.load.hashes import hash_customers, load_key

    with Workshop.open(folder / DB) as workshop:
        connection = workshop.database.connection
        broken = offences(workshop)
        counts: dict[str, Any] = {
            table: connection.execute(f"select count(*) from {table}").fetchall()[0][0] for table in TABLES
        }
        counts["parts"] = connection.execute("select part, count(*) from stage_part group by 1 order by 1").fetchall()
        counts["words"] = connection.execute("select count(*) from word_use where term is null").fetchall()
        hashed = hash_customers(pd.Series([CUSTOMER], dtype="str"), load_key(workshop.database.key_file))[0]
        visits, lines = (
            connection.execute(f"select count(*) from {table} where {column} = ?", [hashed]).fetchall()[0][0]
            for table, column in (("visit", "customer_hash"), ("raw_record", "customer_ref"))
        )
        models_listed = len(workshop.models())
        current_model(workshop.database)
    commands = every()
    for name, file in WRITES.items():
        if name != "restore" and (folder / file).exists() and not commands[name].is_true(folder):
            broken.append(f"{file} is cut")
    return {
        "broken": broken,
        "counts": counts,
        "customer": [visits, lines],
        "models": models_listed,
        "files": [file for file in WRITES.values() if (folder / file).exists()],
        "left over": sorted(p.name for p in folder.iterdir() if p.name.endswith(UNFINISHED)),
    }


def known(folder: Path) -> dict[str, Any]:
    """What an unharmed workshop holds."""
    found: dict[str, Any] | None
    found, why = apart(lambda: state(folder))
    if found is None:
        raise SystemExit(f"it fails without being killed: {why}")
    return found


def found_after_kill(folder: Path, before: dict[str, Any], after: dict[str, Any]) -> str:
    """Say "all", "none", or what is wrong with a workshop after a kill."""
    found, why = apart(lambda: state(folder))
    if found is None:
        return f"FAULT cannot be opened: {why}"
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
    held, why = apart(lambda: state(folder))
    if held is None or held["broken"]:
        return f"FAULT damaged after the second run: {why or held['broken']}"
    if held["counts"] != after["counts"] or held["customer"] != after["customer"]:
        return f"FAULT other rows after the second run: {held['counts']}"
    if held["left over"]:
        return f"FAULT left over: {held['left over']}"
    is_there, why = apart(lambda: every()[name].is_true(folder))
    return "" if is_there else f"FAULT not there after the second run: {why}"


@dataclass(frozen=True)
class Alone:
    """A command that nobody kills: processor seconds it takes, and what the workshop holds afterwards."""

    seconds: float
    after: dict[str, Any]


def alone(base: Path, place: Path, name: str) -> Alone:
    """Run a command on a copy and let it end."""
    shutil.copytree(base, place)
    running = begin(place, every()[name].words, "alone")
    status, said = running.end()
    if status not in (0, 1):
        raise SystemExit(f"{name} fails without being killed: {said}")
    after = known(place)
    shutil.rmtree(place)
    return Alone(running.took, after)


def kill_once(
    base: Path,
    place: Path,
    name: str,
    moment: tuple[float, signal.Signals],
    before: dict[str, Any],
    after: dict[str, Any],
) -> str:
    """Kill a command on a copy after so many processor seconds, by a signal, give it again; says how it ended."""
    shutil.copytree(base, place)
    words = every()[name].words
    running = begin(place, words, "killed")
    running.kill_after(*moment)
    running.end()
    how = found_after_kill(place, before, after)
    how = found_after_again(place, name, *begin(place, words, "again").end(), after) or how
    shutil.rmtree(place)
    return how


def main(kills: int, seed: int, names: list[str]) -> int:
    """Kill and look; prints a table and the faults."""
    rng = random.Random(seed)
    tally = Tally(kills)
    with prepared("kill-") as folder:
        base = folder / "base"
        before = known(base)
        left_alone: dict[str, Alone] = {}
        try:
            for number in range(kills):
                name = names[number % len(names)]
                if name not in left_alone:
                    left_alone[name] = alone(base, folder / f"alone-{name}", name)
                seconds, after = left_alone[name].seconds, left_alone[name].after
                moment = rng.uniform(0, seconds), rng.choice(SIGNALS)
                how = kill_once(base, folder / f"{number}", name, moment, before, after)
                tally.ended[name, how.split()[0]] += 1
                faults = (
                    [f"{how} {moment[1].name} after {moment[0]:.2f} of {seconds:.2f} s"]
                    if how.startswith("FAULT")
                    else []
                )
                tally.add(name, how.split()[0], faults)
        finally:
            tally.tell(names, ("all", "none", "FAULT"))
    return bool(tally.faults)


if __name__ == "__main__":
    sys.exit(main(*asked(usual=200)))

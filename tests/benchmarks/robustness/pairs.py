"""Every pair of commands at once on one workshop: the database stays whole, and every success is true.

Run: python -m tests.benchmarks.robustness.pairs [ROUNDS] [SEED] [COMMAND...]   (1 round of 14 × 14 / 2 pairs by default)

Both are begun within a tenth of a second of each other, in random order, each in a process of its own. A fault is: the
database does not open or breaks what must hold; a command ends with something else than a status of its own (0 done, 1
in part, 2 refused, 3 busy); it hangs, or speaks of a traceback; or it ends with 0 and what it says is not there.
"""

from __future__ import annotations

import random
import shutil
import sys
import tempfile
import time
from collections import Counter
from itertools import combinations_with_replacement
from pathlib import Path

import sql
from pipeline import Workshop
from tests.benchmarks.robustness.commands import DB, READY, Command, begin, every, prepare
from tests.benchmarks.robustness.kill import apart

FAULTY_WORDS = ("Traceback", "fault of priorjobs itself")


def looked_at(folder: Path, succeeded: list[Command]) -> list[str]:
    """What is wrong with the workshop in a folder after commands that reported success."""
    with Workshop.open(folder / DB) as workshop:
        broken = [name for name, rows in sql.offenders(workshop.database.connection).items() if rows]
    return [f"broken: {name}" for name in broken] + [
        f"not true: {command.words}" for command in succeeded if not command.is_true(folder)
    ]


def run_pair(
    base: Path, folder: Path, names: tuple[str, str], rng: random.Random
) -> tuple[list[int | None], list[str]]:
    """Run two commands at once on a copy; their statuses, and the faults."""
    shutil.copytree(base, folder)
    commands = every()
    order = [0, 1] if rng.random() < 0.5 else [1, 0]
    running = {}
    for at in order:
        running[at] = begin(folder, commands[names[at]].words, f"{at}")
        time.sleep(rng.uniform(0, 0.1))
    ended = [running[at].end() for at in (0, 1)]
    faults = [
        f"{name} ended with {status}: {said.strip()[-300:]}"
        for name, (status, said) in zip(names, ended, strict=True)
        if status not in (0, 1, 2, 3) or any(word in said for word in FAULTY_WORDS)
    ]
    succeeded = [commands[name] for name, (status, _) in zip(names, ended, strict=True) if status == 0]
    told, _ = apart(lambda: looked_at(folder, succeeded))
    if told is None or "fault" in told:
        faults.append(f"cannot be opened: {told}")
    else:
        faults += told["gave"]
    shutil.rmtree(folder)
    return [status for status, _ in ended], faults


def main(rounds: int, seed: int, names: list[str]) -> int:
    """Run the pairs; prints how each command ended, and the faults."""
    exec(READY)  # once, before the forks
    folder = Path(tempfile.mkdtemp(prefix="pairs-"))
    prepare(folder / "base")
    rng = random.Random(seed)
    pairs = list(combinations_with_replacement(names, 2)) * rounds
    ended: Counter[tuple[str, int | None]] = Counter()
    faults: list[str] = []
    for number, pair in enumerate(pairs, start=1):
        statuses, found = run_pair(folder / "base", folder / f"{number}", pair, rng)
        ended.update(zip(pair, statuses, strict=True))
        faults += [f"{pair[0]} beside {pair[1]}: {fault}" for fault in found]
        print(f"{number}/{len(pairs)} {pair[0]} {pair[1]}: {statuses} {'; '.join(found)}", file=sys.stderr, flush=True)
    print(f"{len(pairs)} pairs, {len(faults)} faults\n{'command':10s} {'0':>5s} {'1':>5s} {'2':>5s} {'3':>5s}")
    for name in names:
        print(f"{name:10s}" + "".join(f" {ended[name, status]:5d}" for status in range(4)))
    print("\n".join(faults))
    shutil.rmtree(folder)
    return bool(faults)


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdecimal()]
    asked = [word for word in sys.argv[1:] if word in every()] or list(every())
    sys.exit(main(*(numbers + [1, 0][len(numbers) :])[:2], asked))

"""Every pair of commands at once on one workshop: the database stays whole, and every success is true.

Run: python -m tests.benchmarks.robustness.pairs [ROUNDS] [SEED] [COMMAND...]   (1 round of the 105 pairs by default)

Both are begun within a tenth of a second of each other, in random order, each in a process of its own. A fault is: the
database does not open or breaks what must hold; a command ends with something else than a status of its own (0 done, 1
in part, 2 refused, 3 busy); it hangs, or speaks of a traceback; or it ends with 0 and what it says is not there.
"""

from __future__ import annotations

import random
import shutil
import sys
import time
from collections import Counter
from collections.abc import Sequence
from itertools import combinations_with_replacement
from pathlib import Path

from tests.benchmarks.robustness.commands import Command, begin, every
from tests.benchmarks.robustness.trials import Tally, apart, asked, broken, prepared

STATUSES = (0, 1, 2, 3)
FAULTY_WORDS = ("Traceback", "bug in priorjobs")


def looked_at(folder: Path, succeeded: list[Command]) -> list[str]:
    """What is wrong with the workshop in a folder after commands that reported success."""
    untrue = [f"not true: {command.words}" for command in succeeded if not command.is_true(folder)]
    return [*(f"broken: {name}" for name in broken(folder)), *untrue]


def run_pair(
    base: Path, folder: Path, names: tuple[str, str], rng: random.Random
) -> tuple[list[int | None], list[str]]:
    """Run two commands at once on a copy; their statuses, and the faults."""
    shutil.copytree(base, folder)
    commands = every()
    running = {}
    for at in rng.sample((0, 1), 2):
        running[at] = begin(folder, commands[names[at]].words, f"{at}")
        time.sleep(rng.uniform(0, 0.1))
    ended = [running[at].end() for at in (0, 1)]
    faults = [
        f"{name} ended with {status}: {said.strip()[-300:]}"
        for name, (status, said) in zip(names, ended, strict=True)
        if status not in STATUSES or any(word in said for word in FAULTY_WORDS)
    ]
    succeeded = [commands[name] for name, (status, _) in zip(names, ended, strict=True) if status == 0]
    found, why = apart(lambda: looked_at(folder, succeeded))
    shutil.rmtree(folder)
    return [status for status, _ in ended], faults + (found if found is not None else [f"cannot be opened: {why}"])


def matrix(names: Sequence[str], whole: Counter[tuple[str, str]], tried: Counter[tuple[str, str]]) -> str:
    """How many rounds of each pair ended without a fault; with a fault, out of how many; a dot where none was run."""

    def cell(pair: tuple[str, str]) -> str:
        told = f"{whole[pair]}" if whole[pair] == tried[pair] else f"{whole[pair]}/{tried[pair]}"
        return f"{told if tried[pair] else '.':>10s}"

    lines = [
        f"{name:10s}{' ' * 10 * place}" + "".join(cell((name, other)) for other in names[place:])
        for place, name in enumerate(names)
    ]
    return "\n".join([" " * 10 + "".join(f"{name:>10s}" for name in names), *lines])


def main(rounds: int, seed: int, names: list[str]) -> int:
    """Run the pairs; prints how each command ended, the pairs, and the faults."""
    rng = random.Random(seed)
    pairs = list(combinations_with_replacement(names, 2)) * rounds
    tally = Tally(len(pairs))
    whole: Counter[tuple[str, str]] = Counter()
    tried: Counter[tuple[str, str]] = Counter()
    with prepared("pairs-") as folder:
        try:
            for number, pair in enumerate(pairs):
                statuses, faults = run_pair(folder / "base", folder / f"{number}", pair, rng)
                tried[pair] += 1
                whole[pair] += not faults
                tally.ended.update(zip(pair, statuses, strict=True))
                tally.add(f"{pair[0]} beside {pair[1]}", statuses, faults)
        finally:
            tally.tell(names, STATUSES)
            print(matrix(names, whole, tried), flush=True)
    return bool(tally.faults)


if __name__ == "__main__":
    sys.exit(main(*asked(usual=1)))

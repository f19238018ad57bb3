"""How long technicians wait who ask at once: ``python -m tests.benchmarks.speed.open_pages DB [ASKERS] [ROUNDS]``.

DB is a workshop, copied before use. The pages are served by waitress in a process of their own; each asker sends a
question nobody asked before (another age, another complaint of the kind's), all at the same moment, ROUNDS times. Beside
the times stand the load of the machine and what one page costs alone.
"""

from __future__ import annotations

import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
import urllib.request
from pathlib import Path

KINDS = ("washing machine", "dishwasher", "tumble dryer", "fridge", "oven")
SAID = ("not draining", "leaks", "noisy", "dead", "not heating", "trips the electrics", "door stuck", "not cold")
PORT = 8797


def ask(question: dict[str, str]) -> float:
    """Seconds until the page is there."""
    begun = time.perf_counter()
    with urllib.request.urlopen(f"http://127.0.0.1:{PORT}/ask?{urllib.parse.urlencode(question)}", timeout=300) as page:
        page.read()
    return time.perf_counter() - begun


def at_once(questions: list[dict[str, str]]) -> list[float]:
    """Seconds of each, all sent at the same moment."""
    took = [0.0] * len(questions)
    start = threading.Barrier(len(questions))

    def one(at: int) -> None:
        start.wait()
        took[at] = ask(questions[at])

    threads = [threading.Thread(target=one, args=(at,)) for at in range(len(questions))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return took


def main(db: Path, askers: int = 10, rounds: int = 5) -> None:
    """Print median and worst of all rounds."""
    chance = random.Random(1)
    fresh = (
        {"kind": kind, "complaint": said, "age": str(age)} for kind in KINDS for said in SAID for age in range(1, 15)
    )
    questions = chance.sample(list(fresh), askers * rounds + 20)
    with tempfile.TemporaryDirectory() as folder:
        for ending in (".duckdb", ".key", ".toml", ".models"):
            beside = db.with_suffix(ending)
            if beside.is_dir():
                shutil.copytree(beside, Path(folder) / beside.name)
            elif beside.exists():
                shutil.copy(beside, folder)
        command = [sys.executable, "-c", "from pipeline.cli import main; main()", "open", "--no-browser"]
        command += ["--db", str(Path(folder) / db.name), "--port", str(PORT)]
        server = subprocess.Popen(command, stdout=subprocess.PIPE)
        try:
            assert server.stdout is not None
            server.stdout.readline()
            for kind in KINDS:  # word lists and the model are made ready by the first of each kind
                ask({"kind": kind, "complaint": "leaks", "age": "0"})
            alone = [ask(question) for question in questions[:20]]
            took = [
                seconds
                for at in range(rounds)
                for seconds in at_once(questions[20 + at * askers : 20 + (at + 1) * askers])
            ]
            again = [ask(question) for question in questions[:20]]
        finally:
            server.kill()
            server.wait()
    for name, seconds in (("alone", alone), (f"{askers} at once", took), ("asked before", again)):
        print(f"{name}: median {1000 * statistics.median(seconds):,.0f} ms, worst {1000 * max(seconds):,.0f} ms")
    print(f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


if __name__ == "__main__":
    main(Path(sys.argv[1]), *map(int, sys.argv[2:]))

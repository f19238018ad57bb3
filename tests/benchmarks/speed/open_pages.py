"""How long technicians wait who ask at once: ``python -m tests.benchmarks.speed.open_pages DB [ASKERS] [ROUNDS]``.

DB is a workshop, copied before use. The pages are served by waitress in a process of their own; each asker sends a
question nobody asked before (another age, another complaint of the kind's), all at the same moment, ROUNDS times; then
each goes through a visit of his own, pressing the first key at every step. Beside the times stand the load of the machine
and, where the system tells it, the processor time that a page took.
"""

from __future__ import annotations

import http.cookiejar
import os
import random
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
import urllib.request
from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path

KINDS = ("washing machine", "dishwasher", "tumble dryer", "fridge", "oven")
SAID = ("not draining", "leaks", "noisy", "dead", "not heating", "trips the electrics", "door stuck", "not cold")
PORT = 8797


BROWSER = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))


def begin(told: str) -> None:
    """Be let in by the address that the terminal shows."""
    BROWSER.open(next(word for word in told.split() if word.startswith("http"))).close()


def ask(question: dict[str, str]) -> float:
    """Seconds until the page is there."""
    begun = time.perf_counter()
    with BROWSER.open(f"http://127.0.0.1:{PORT}/ask?{urllib.parse.urlencode(question)}", timeout=300) as page:
        page.read()
    return time.perf_counter() - begun


def processor_time(process: int) -> float:
    """Seconds that a process computed so far; NaN where the system does not tell."""
    try:
        told = Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    except OSError:
        return float("nan")
    return (int(told[11]) + int(told[12])) / os.sysconf("SC_CLK_TCK")


def at_once(todo: Sequence[Callable[[], float]]) -> list[float]:
    """Seconds of each, all begun at the same moment."""
    took = [0.0] * len(todo)
    start = threading.Barrier(len(todo))

    def one(at: int) -> None:
        start.wait()
        took[at] = todo[at]()

    threads = [threading.Thread(target=one, args=(at,)) for at in range(len(todo))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return took


class Visit:
    """A visit under way in a browser."""

    def __init__(self, question: dict[str, str]) -> None:
        with BROWSER.open(f"http://127.0.0.1:{PORT}/visit?{urllib.parse.urlencode(question)}") as page:
            self.address, self.page = page.url, page.read().decode()

    def press(self) -> float:
        """Seconds from pressing the first key to the next step; 0 at the end of the visit."""
        key = re.search(r'name="key" value="([^"u][^"]*)"', self.page)
        proof = re.search(r'name="csrf" value="([^"]+)"', self.page)
        if key is None or proof is None or 'action="record"' in self.page:
            return 0.0
        form = urllib.parse.urlencode({"csrf": proof[1], "key": key[1]}).encode()
        pressed = urllib.request.Request(f"{self.address}press", form, {"Origin": f"http://127.0.0.1:{PORT}"})
        begun = time.perf_counter()
        with BROWSER.open(pressed, timeout=300) as page:
            self.address, self.page = page.url.partition("?")[0], page.read().decode()
        return time.perf_counter() - begun


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
            begin(server.stdout.readline().decode())
            for kind in KINDS:  # word lists and the model are made ready by the first of each kind
                ask({"kind": kind, "complaint": "leaks", "age": "0"})
            alone = questions[:20]
            groups = [
                [partial(ask, question) for question in questions[at : at + askers]]
                for at in range(20, len(questions), askers)
            ]
            visits = [Visit(question) for question in alone[:10]]
            pressed = [[visit.press for visit in visits]] * rounds
            for name, wanted in (
                ("alone", [[partial(ask, question)] for question in alone[10:]]),
                (f"{askers} at once", groups),
                ("asked before", [[partial(ask, question)] for question in alone]),
                (f"{askers} at once, answered before", groups),
                ("steps of ten visits at once", pressed),
            ):
                before = processor_time(server.pid)
                took = [seconds for group in wanted for seconds in at_once(group) if seconds]
                computed = (processor_time(server.pid) - before) / len(took)
                told = [1000 * seconds for seconds in (statistics.median(took), max(took), computed)]
                print("{}: median {:,.0f} ms, worst {:,.0f} ms; {:,.0f} ms computed a page".format(name, *told))
        finally:
            server.kill()
            server.wait()
    print(f"load of the machine: {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")


if __name__ == "__main__":
    main(Path(sys.argv[1]), *map(int, sys.argv[2:]))

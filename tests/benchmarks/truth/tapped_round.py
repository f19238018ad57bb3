"""Whether a tapped page leads as the conversation does: every branch of twenty calls, in a real browser.

    python -m tests.benchmarks.truth.tapped_round WORKSHOP.duckdb [--calls 20] [--after 0] [--seed 1]

Calls are drawn from the demo's world. Also tells the size of a page of sixty such calls, and how often in a hundred
simulated visits the page says "ask again": every check may be impossible with the chance that the tree is built for.
"""

from __future__ import annotations

import argparse
import csv
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np

from demo_data.generator.world import Call as Drawn
from demo_data.generator.world import World
from pipeline import Workshop
from pipeline.visit.ask import questions_of
from pipeline.visit.question import Call
from pipeline.visit.tapping import ASK_AGAIN, END, UNFORESEEN, tapped
from pipeline.visit.walk import Walk
from tests.benchmarks.truth.plan import drawn_calls
from tests.worlds import tapped_page

COLUMNS = ("appliance_kind", "job_no", "make", "model", "age", "complaint", "fault_code")
SIXTY = 60


def line(number: int, call: Drawn) -> tuple[str, ...]:
    """A call as one line of a file."""
    said = ", ".join(symptom for symptom, is_said in call.symptoms.items() if is_said)
    age = "" if call.age_years is None else f"{call.age_years:.0f}"
    return call.kind, f"J-{number}", call.make or "", call.model or "", age, said, call.code or ""


def asked_again(tree: dict[str, Any], rng: np.random.Generator, visits: int = 100) -> float:
    """Share of visits that reach "ask again"; answers are drawn evenly, which makes the rare ones too frequent."""
    count = 0
    for _ in range(visits):
        at = 0
        while at >= 0 and tree["points"][at]["leads_to"]:
            step, leads = tree["steps"][tree["points"][at]["step"]], tree["points"][at]["leads_to"]
            foreseen = [k for k, (_, does, *_) in enumerate(step["keys"]) if does or len(leads) == 1]
            others = [k for k in range(len(leads)) if k not in foreseen]
            pick = others if others and rng.random() < UNFORESEEN else foreseen
            at = leads[int(rng.choice(pick))]
        count += at == ASK_AGAIN
        assert at >= END or at == ASK_AGAIN
    return count / visits


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("workshop")
    parser.add_argument("--calls", type=int, default=20)
    parser.add_argument("--after", type=int, default=0, help="calls passed over: what was tapped before")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    rows = [line(n, call) for n, call in enumerate(drawn_calls(World(), SIXTY, given.seed), start=1)]
    with tempfile.TemporaryDirectory() as folder, Workshop.open(given.workshop, read_only=True) as workshop:
        out = Path(folder) / "round.html"

        def planned(rows: list[tuple[str, ...]]) -> tuple[float, int]:
            with (Path(folder) / "calls.csv").open("w", encoding="utf-8", newline="") as file:
                csv.writer(file).writerows([COLUMNS, *rows])
            start = time.process_time()
            workshop.round(Path(folder) / "calls.csv", out)
            return time.process_time() - start, out.stat().st_size

        seconds, size = planned(rows)
        print(f"{SIXTY} calls: {size / 1e6:.2f} MB, {seconds:.0f} s of processor time", flush=True)
        calls = [Call(*row[:1], *row[2:5], row[5], row[6], job_no=row[1]) for row in rows[: given.calls]]
        questions = questions_of(workshop.database, workshop.words, workshop.settings, calls)
        walk = Walk(workshop.database, workshop.words, workshop.settings, is_brief=True)
        with tapped_page.browser() as browser:
            page = browser.new_page(viewport={"width": 320, "height": 640})
            whole = [0, 0, 0]
            for number, asked in list(enumerate(questions))[given.after :]:
                planned(rows[number : number + 1])  # alone: the van of a round is no matter of one conversation
                page.goto(out.as_uri(), timeout=120_000)
                cards = tapped_page.tapped(page, 0)
                compared, asks, wrong = tapped_page.differences(workshop, asked, cards)
                whole = [whole[0] + compared, whole[1] + asks, whole[2] + len(wrong)]
                again = asked_again(tapped(walk, walk.start(asked)), rng)
                print(
                    f"call {number + 1}, {asked.kind}: {compared} cards alike but {len(wrong)}, {asks} ask again, "
                    f"in {again:.0%} of visits",
                    *wrong[:3],
                    sep="\n  ",
                    flush=True,
                )
            print(f"in all {whole[0]} cards compared, {whole[2]} differ; {whole[1]} say ask again")


if __name__ == "__main__":
    main()

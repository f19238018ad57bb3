"""Whether a tapped page leads as the conversation does: every branch of twenty calls, in a real browser.

    python -m tests.benchmarks.truth.tapped_round WORKSHOP.duckdb [--calls 20] [--after 0] [--seed 1] [--rare]

Calls are drawn from the demo's world. Also tells the size of a page of sixty such calls, and how often in a hundred
simulated visits, drawn from the odds, the page says "ask again": every check may be impossible with the chance that
the tree is built for. ``--rare`` tells that alone.
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
from pipeline.call.question import Call, Question
from pipeline.on_site.keys import choices, event_of
from pipeline.on_site.step_by_step import Stand, Walk
from pipeline.on_site.tapped_tree import ASK_AGAIN, UNFORESEEN, tapped
from pipeline.visit.ask import questions_of
from tests.benchmarks.truth.plan import drawn_calls
from tests.worlds import tapped_page

COLUMNS = ("appliance_kind", "job_no", "make", "model", "age", "complaint", "fault_code")
SIXTY = 60


def line(number: int, call: Drawn) -> tuple[str, ...]:
    """A call as one line of a file."""
    said = ", ".join(symptom for symptom, is_said in call.symptoms.items() if is_said)
    age = "" if call.age_years is None else f"{call.age_years:.0f}"
    return call.kind, f"J-{number}", call.make or "", call.model or "", age, said, call.code or ""


def asked_again(
    walk: Walk, asked: Question, tree: dict[str, Any], rng: np.random.Generator, cannot: float, visits: int
) -> list[int]:
    """Taps after which visits reach "ask again"; what is shown and cured is drawn from the odds, so often nobody can
    tell, or a repair is not done."""
    stands: dict[tuple[int, ...], Stand] = {(): walk.start(asked)}
    taps = list[int]()
    for _ in range(visits):
        at, path = 0, tuple[int, ...]()
        while at >= 0 and tree["points"][at]["leads_to"]:
            stand, leads = stands[path], tree["points"][at]["leads_to"]
            keys = [(key, label) for key, label in choices(stand.now, stand.now.steps[0]).items() if key.isdigit()]
            chances = _chances(stand, keys, cannot)
            pick = int(rng.choice(len(leads), p=chances))
            at = leads[pick]
            if at >= 0 and (*path, pick) not in stands:
                event = event_of(stand.now, stand.now.steps[0], *keys[pick])
                stands[(*path, pick)] = walk.then(stand, event)
            path = (*path, pick)
        if at == ASK_AGAIN:
            taps.append(len(path))
    return taps


def _chances(stand: Stand, keys: list[tuple[str, str]], cannot: float) -> Any:
    """How likely each key is pressed."""
    visit = stand.now.visit
    branches = {name: chance for name, chance, _ in visit.plan.root.branches} if visit else {}
    total = sum(branches.values())
    told = []
    for key, label in keys:
        event = event_of(stand.now, stand.now.steps[0], key, label)
        name = {"tried": "not cured", "looks good": "", "changed": "done"}.get(event.what, event.value)
        if event.what == "cured":
            chance = max(0.0, 1.0 - branches.get("not cured", 0.0)) or 1e-9
        else:
            chance = branches.get(name, 0.0) if total else 1.0
        told.append(-1.0 if event.what in ("cannot tell", "aside") else chance)
    weights = np.array(told)
    unknown = weights < 0
    rest = np.where(unknown, 0.0, weights)
    rest = rest / rest.sum() if rest.sum() else np.where(unknown, 0.0, 1.0 / max(1, (~unknown).sum()))
    return rest * (1 - cannot * unknown.any()) + cannot * unknown / max(1, unknown.sum())


def questions_for(workshop: Workshop, rows: list[tuple[str, ...]]) -> list[Question]:
    """The calls as they are read."""
    calls = [Call(*row[:1], *row[2:5], row[5], row[6], job_no=row[1]) for row in rows]
    return questions_of(workshop.database, workshop.words, workshop.settings, calls)


def rare(workshop: Workshop, rows: list[tuple[str, ...]], seed: int) -> None:
    """How often a visit that follows the odds meets "ask again", after how many taps, and what the trees cost."""
    walk = Walk(workshop.database, workshop.words, workshop.settings, is_brief=True)
    questions = questions_for(workshop, rows)
    begun = time.process_time()
    trees = [tapped(walk, walk.start(asked)) for asked in questions]
    seconds, points = time.process_time() - begun, [len(tree["points"]) for tree in trees]
    print(f"{len(trees)} trees: {seconds:.0f} s of processor time, points {sorted(points)}", flush=True)
    for cannot in (0.04, 0.15, 0.3):
        rng, visits = np.random.default_rng(seed), 25
        taps = [
            asked_again(walk, asked, tree, rng, cannot, visits) for asked, tree in zip(questions, trees, strict=True)
        ]
        all_taps = sorted(one for some in taps for one in some)
        share = len(all_taps) / (visits * len(trees))
        early = sum(one <= 3 for one in all_taps) / (visits * len(trees))
        middle = all_taps[len(all_taps) // 2] if all_taps else 0
        print(
            f"cannot tell {cannot:.0%}: {share:.1%} of {visits * len(trees)} visits ask again, {early:.1%} within three taps, "
            f"after {middle} in the median; worst calls {sorted((len(one) for one in taps), reverse=True)[:8]} of {visits}",
            flush=True,
        )


def main() -> None:
    """Print the figures."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("workshop")
    parser.add_argument("--calls", type=int, default=20)
    parser.add_argument("--after", type=int, default=0, help="calls passed over: what was tapped before")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--rare", action="store_true", help="only how often a visit that follows the odds must ask again"
    )
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

        if given.rare:
            rare(workshop, rows[: given.calls], given.seed)
            return
        seconds, size = planned(rows)
        print(f"{SIXTY} calls: {size / 1e6:.2f} MB, {seconds:.0f} s of processor time", flush=True)
        questions = questions_for(workshop, rows[: given.calls])
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
                tree = tapped(walk, walk.start(asked))
                again = len(asked_again(walk, asked, tree, rng, UNFORESEEN, 100)) / 100
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

"""How near the cause model comes to the demo world's exact posterior, on record, in free text, and with wrong lists.

    python -m tests.benchmarks.truth.demo_limit WORKSHOP.duckdb [--calls 3000] [--seed 1] [--wrong 300,1000,3000,10000]

WORKSHOP.duckdb is the demo's, with a trained model (``priorjobs demo`` makes one). Excess = log-loss less that of the
exact posterior on the same questions, nats; intervals are 95 % bootstrap ones over the questions.

On record: learned from the first four fifths of the cured jobs, asked about the rest. In free text: fresh calls of the
same town, worded as people write, read and answered as ``priorjobs causes`` does with the model in use; after the
complaint the checks that tell most a minute are done, none to four of them. The exact posterior is given all that was
said, denials, the month and the town's own words too; "understood" is the exact posterior given only the terms that the
word lists understood of it, so an answer that learned own words may be nearer the truth than that.

Wrong lists: worlds whose shares within each complaint are as listed, bent (times a lognormal of spread 0.7) or
shuffled, and lists whose expected findings are dealt to other causes of the same complaint; jobs come straight from
the simulation, words left out; 2,500 jobs asked. ``--wrong ""`` leaves this out.
"""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd

from demo_data.generator import writing
from demo_data.generator.technicians import Bench, Case
from demo_data.generator.world import World
from models import CauseClassifier
from models.causes.features import wide
from models.evaluate.backtest import in_order, known_facts
from pipeline.call.question import Call, Question
from pipeline.call.read_call import read_questions
from pipeline.settings import Settings
from pipeline.store.database import Database
from pipeline.train.examples import examples
from pipeline.train.word_background import background
from pipeline.visit.ask import ask
from pipeline.visit.costs import NONE_OF_THESE
from pipeline.words import Words
from tests.benchmarks.truth.demo_jobs import bent_world, cured_jobs, exact, hits, losses

CHECKS = 5  # none to four are done
ASKED = 2500
TODAY = date(2026, 10, 31)
Chances = list[dict[str, float]]


def learned(past: pd.DataFrame, asked: pd.DataFrame, lists: pd.DataFrame | None) -> Chances:
    """Fit on ``past``, answer ``asked``; a cause never met gets a tenth of "none of these"."""
    both = wide(pd.concat([past, asked], ignore_index=True))
    facts, questions = both.iloc[: len(past)], both.iloc[len(past) :].reset_index(drop=True)
    model = CauseClassifier(scope="kind", background=lists).fit(facts, past["cause"].astype(str)).model_
    none = model.none_of_these(questions)
    chances = model.predict_proba(questions) * (1 - none)[:, None]
    told = [dict(zip(model.classes_.tolist(), row, strict=True)) for row in chances.tolist()]
    return [
        {cause: rest / 10 for cause in [true] if cause not in one} | one
        for one, rest, true in zip(told, none, asked["cause"], strict=True)
    ]


def show(name: str, told: Chances, limit: Chances, causes: list[str]) -> None:
    """Print one line: excess and top-1 ratio with their intervals."""
    apart = losses(told, causes) - losses(limit, causes)
    mine, its = hits(told, causes), hits(limit, causes)
    rows = np.random.default_rng(0).integers(0, len(apart), (1000, len(apart)))
    low, high = np.quantile(apart[rows].mean(axis=1), [0.025, 0.975])
    ratio = mine[rows].mean(axis=1) / np.maximum(its[rows].mean(axis=1), 1e-9)
    least, most = np.quantile(ratio, [0.025, 0.975])
    print(
        f"  {name:34s} {len(apart):5,d} asked  excess {apart.mean():6.3f} ({low:6.3f} to {high:6.3f})"
        f"  top-1 {mine.mean() / its.mean():.3f} of exact's ({least:.3f} to {most:.3f})",
        flush=True,
    )


def by_group(told: Chances, limit: Chances, causes: list[str], group: np.ndarray, word: str) -> None:
    """Print a line a group."""
    for one in np.unique(group):
        at = np.flatnonzero(group == one)
        show(f"{word} {one}", *([chances[k] for k in at] for chances in (told, limit)), [causes[k] for k in at])


def on_record(database: Database, words: Words) -> None:
    """Ask about the last fifth of the recorded jobs."""
    jobs = in_order(examples(database))
    cut = int(len(jobs) * 0.8)
    past, asked = jobs.iloc[:cut], jobs.iloc[cut:].reset_index(drop=True)
    limit, causes = exact(World(), asked), asked["cause"].tolist()
    facts = np.minimum(known_facts(wide(asked)), 10)
    print(f"on record, learned from {cut:,} jobs")
    show("without lists", learned(past, asked, None), limit, causes)
    told = learned(past, asked, background(words))
    show("with lists", told, limit, causes)
    by_group(told, limit, causes, facts // 3 * 3, "facts known, from")


def in_text(database: Database, words: Words, calls: int, seed: int) -> None:
    """Ask about fresh calls in free text."""
    world, rng = World(), np.random.default_rng([seed, 3])
    bench = Bench(world)
    questions, limit, causes, checks = [], [], [], []
    for _ in range(calls):
        call = world.call(rng)
        case, wanted = Case(call), int(rng.integers(CHECKS))
        while len(case.found) < wanted and (check := bench.judge(case)[3]):
            case.found[check] = world.finding(call, check, rng)
        age, years = writing.age(rng, call.age_years, TODAY.year)
        complaint, _ = writing.complaint(rng, call.kind, call.symptoms, call.code is not None, call.manners)
        text = {
            "kind": writing.kind(rng, call.kind),
            "make": writing.make(rng, call.make),
            "model": writing.model(rng, call.model),
            "age": age,
            "complaint": complaint,
            "code": writing.code(rng, call.code) if call.code else None,
            "found": [writing.findings(rng, case.found)] if case.found else [],
        }
        questions.append(read_questions(words, database, [Call(**text)], on=TODAY)[0])
        limit.append(
            world.posterior(
                call.kind,
                call.make,
                call.model,
                years,
                call.symptoms,
                call.code,
                dict(case.found),
                month=call.month,
                manners=call.manners,
            )
        )
        causes.append(call.cause)
        checks.append(len(case.found))
    told = [
        {**asked.odds.causes, NONE_OF_THESE: asked.odds.none_of_these}
        for begin in range(0, calls, 200)
        for asked in ask(database, words, Settings(), questions[begin : begin + 200])
    ]
    understood = [heard(world, question) for question in questions]
    print("in free text, as the command line reads and answers")
    show("answered", told, limit, causes)
    show("exact, given what was understood", understood, limit, causes)
    show("answered, against understood", told, understood, causes)
    by_group(told, limit, causes, np.array(checks), "checks done:")


def heard(world: World, question: Question) -> dict[str, float]:
    """Exact posterior given what the words understood."""
    if question.kind not in world.odds:
        return {}
    code = question.codes[0] if question.codes else None
    facts = question.make, question.model, question.age_years, list(question.symptoms), code, dict(question.findings)
    return world.posterior(question.kind, *facts)


def with_findings_dealt_anew(lists: pd.DataFrame) -> pd.DataFrame:
    """Expected findings given to other ways with the same complaints."""
    rng = np.random.default_rng(5)
    is_said = lists["column"].str.startswith("symptom: ")
    complaints = lists[is_said].groupby("way")["column"].agg("|".join)
    to = {}
    for ways in complaints.groupby(complaints).groups.values():
        to |= dict(zip(ways, rng.permutation(ways), strict=True))
    bent = lists.copy()
    is_finding = bent["column"].str.startswith("finding: ")
    bent.loc[is_finding, "way"] = bent.loc[is_finding, "way"].map(to)
    return bent.assign(cause=bent["way"].map(lists.drop_duplicates("way").set_index("way")["cause"]))


def wrong_lists(words: Words, sizes: list[int]) -> None:
    """Compare with and without lists where the lists are wrong."""
    lists = background(words)
    for how in ("as listed", "bent", "shuffled", "findings dealt anew"):
        world = bent_world(how, 1)
        past, asked = cured_jobs(world, 1, max(sizes)), cured_jobs(world, 900, ASKED)
        limit, causes = exact(world, asked), asked["cause"].tolist()
        used = with_findings_dealt_anew(lists) if how == "findings dealt anew" else lists
        for number in sizes:
            print(f"{how}, {number:,} jobs")
            show("without lists", learned(past.iloc[:number], asked, None), limit, causes)
            show("with lists", learned(past.iloc[:number], asked, used), limit, causes)


def main() -> None:
    """Print the tables."""
    asked_for = argparse.ArgumentParser()
    asked_for.add_argument("workshop", type=Path)
    asked_for.add_argument("--calls", type=int, default=3000)
    asked_for.add_argument("--seed", type=int, default=1)
    asked_for.add_argument("--wrong", default="300,1000,3000,10000")
    given = asked_for.parse_args()
    words = Words.load()
    with Database.open(given.workshop, read_only=True) as database:
        on_record(database, words)
        in_text(database, words, given.calls, given.seed)
    if given.wrong:
        wrong_lists(words, [int(size) for size in given.wrong.split(",")])


if __name__ == "__main__":
    main()

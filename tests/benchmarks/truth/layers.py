"""What each layer of the cause model is worth: log-loss on new jobs with it and without it, in made worlds.

    python -m tests.benchmarks.truth.layers [quirks|pathfinder|win95pts|demo|phrases][:JOBS]...

quirks: 3,000 jobs, codes by family and age by make; pathfinder: 1,000 jobs, 63 causes, 5 to 15 findings; win95pts:
20,000 jobs, findings that hang together; demo: 1,500 jobs of the demo's town with its word lists (they flatter the layer
of the lists); phrases: 400 jobs told in invented words. Asked about 2,000 new jobs. One line a world and layer: nats
lost a job when the layer is left out; below .01 in every world it is not worth its lines.
"""

from __future__ import annotations

import sys
from unittest.mock import patch

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from demo_data.generator.world import World
from models import CauseClassifier
from models.causes.features import wide
from models.causes.held_out import HeldOut
from models.causes.pool import job_losses, pool_weights
from pipeline.train.word_background import background
from pipeline.words import Words
from tests.benchmarks.truth.cause_limits import jobs_of
from tests.benchmarks.truth.demo_jobs import cured_jobs
from tests.benchmarks.truth.quirks import Quirks
from tests.worlds.spoken_jobs import spoken_jobs

ASKED = 2000
JOBS = {"quirks": 3000, "pathfinder": 1000, "win95pts": 20_000, "demo": 1500, "phrases": 400}
LAYERS = ("lists", "bayes", "pairs", "regression", "naive Bayes", "boosting")
Given = tuple[pd.DataFrame, np.ndarray, pd.DataFrame, np.ndarray, pd.DataFrame | None]


def drawn(world: str, number: int) -> Given:
    """Facts and causes learned from, those asked about, and the lists, None without."""
    if world == "quirks":
        town = Quirks(1)
        past, asked = town.jobs(number, 2), town.jobs(ASKED, 3)
        return past[0], past[1], asked[0], asked[1], None
    if world in ("pathfinder", "win95pts"):
        past, asked = (jobs_of(world, jobs, seed, exact=False)[0] for jobs, seed in ((number, 1), (ASKED, 99)))
        return past.facts, past.cause, asked.facts, asked.cause, None
    if world == "demo":
        jobs = cured_jobs(World(), 1, number + ASKED)
        facts = wide(jobs)
        lists, cause = background(Words.load()), jobs["cause"].to_numpy(dtype=str)
        return facts.iloc[:number], cause[:number], facts.iloc[number:], cause[number:], lists
    (past, cause), (asked, truth) = spoken_jobs(number, 1), spoken_jobs(ASKED, 2)
    return past, cause, asked, truth, None


def loss(given: Given, left_out: str | None) -> float:
    """Log-loss of the model without one layer."""
    past, cause, asked, truth, lists = given
    keep, hear = HeldOut.keep, HeldOut.hear_tables

    def refusing(held: HeldOut, name: str, opinion: np.ndarray) -> bool:
        return name != left_out and keep(held, name, opinion)

    def silent(held: HeldOut) -> None:
        hear(held)
        if left_out == "bayes":
            held.opinions["bayes"] = np.zeros_like(held.opinions["bayes"])
            held.pool = pool_weights(list(held.opinions.values()), held.cause, held.weight)
            held.losses = job_losses(list(held.opinions.values()), held.pool, held.cause)

    with patch.object(HeldOut, "keep", refusing), patch.object(HeldOut, "hear_tables", silent), threadpool_limits(1):
        text = "complaint" if "complaint" in past else None
        known = None if left_out == "lists" else lists
        model = CauseClassifier(scope="kind", text=text, background=known).fit(past, cause)
    place = pd.Index(model.classes_.astype(str)).get_indexer(pd.Index(truth.astype(str)))
    chance = model.predict_proba(asked)[np.arange(len(asked)), np.maximum(place, 0)]
    return float(-np.log(np.maximum(np.where(place >= 0, chance, 0), 1e-6)).mean())


def main() -> None:
    """One line a world and layer."""
    for told in sys.argv[1:] or list(JOBS):
        world, _, number = told.partition(":")
        given = drawn(world, int(number or JOBS[world]))
        whole = loss(given, None)
        print(f"{told}: log-loss {whole:.3f} with all layers", flush=True)
        for layer in LAYERS:
            if layer not in (("bayes", "pairs") if given[-1] is not None else ("lists",)):
                print(f"  without {layer}: {loss(given, layer) - whole:+.3f}", flush=True)


if __name__ == "__main__":
    main()

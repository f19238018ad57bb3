"""Which of two models answers better, on later jobs that neither has learned from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.errors import UsageError, shown
from pipeline.train.examples import FEWEST, examples
from pipeline.train.versions import EXAM, cards, put_in_use, readable_name, storage_folder

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.store.database import Database

WORSE_BY = 0.01  # nats by which a new model must be worse to be refused


def choose(database: Database, name: str, jobs: pd.DataFrame, *, force: bool) -> tuple[str, str]:
    """Put the new model in use unless the present one answers better on jobs neither of their exam models has seen."""
    present = readable_name(database)
    if present is None or force:
        put_in_use(database, name)
        return name, "first model" if present is None else "put in use as asked"
    verdict = face_off(database, present, name, jobs)
    if verdict is not None and verdict["new"] > verdict["old"] + max(WORSE_BY, verdict["error"]):
        note = (
            f"Model {present} stays in use: on {verdict['jobs']} jobs neither had seen "
            f"its log-loss is {verdict['old']:.3f}, "
            f"the new one's {verdict['new']:.3f}. To use the new one all the same: priorjobs train --force"
        )
        return present, note
    put_in_use(database, name)
    return name, _replaces(present, verdict)


def _replaces(present: str, verdict: dict[str, Any] | None) -> str:
    back = f"priorjobs models use {present}"
    if verdict is None:
        return f"it replaces {present}; too few jobs that neither had seen are there to compare them. Back: {back}"
    old, new, jobs = f"{verdict['old']:.3f}", f"{verdict['new']:.3f}", verdict["jobs"]
    if abs(verdict["new"] - verdict["old"]) > 2 * verdict["error"]:
        return f"it replaces {present}: log-loss {new} for {old} on {jobs} jobs neither had seen. Back: {back}"
    return (
        f"it replaces {present}: log-loss {new} for {old} on {jobs} jobs neither had seen, a difference that chance "
        f"allows. Back: {back}"
    )


def face_off(database: Database, old: str, new: str, jobs: pd.DataFrame) -> dict[str, Any] | None:
    """Log-loss of both exam models on jobs neither has seen; None when the old one cannot be read or jobs are few."""
    import numpy as np
    import pandas as pd

    from models.causes import storage
    from models.causes.features import wide
    from models.evaluate.backtest import codes_of

    try:
        learned_to = [storage.read_card(storage_folder(database, name))["exam_learned_to"] for name in (old, new)]
        exams = [storage.open_model(storage_folder(database, name) / EXAM) for name in (old, new)]
    except (storage.ModelUnreadable, KeyError):
        return None
    later = jobs[pd.to_datetime(jobs["cure_date"]) > pd.Timestamp(max(learned_to))]
    if len(later) < FEWEST:
        return None
    facts = wide(later)
    losses = []
    for exam in exams:
        cause = codes_of(later["cause"], [str(c) for c in exam.classes_])
        none = exam.none_of_these(facts)
        chance = exam.predict_proba(facts)[np.arange(len(later)), np.maximum(cause, 0)] * (1 - none)
        losses.append(-np.log(np.maximum(np.where(cause >= 0, chance, none / 10), 1e-6)))
    apart = losses[1] - losses[0]
    return {
        "old": float(losses[0].mean()),
        "new": float(losses[1].mean()),
        "error": float(apart.std() / np.sqrt(len(later))),
        "jobs": len(later),
    }


def compare_models(database: Database, first: str, second: str) -> pd.DataFrame:
    """Two models' cards side by side: one row a measure, the last on jobs that neither had learned from in its exam.

    Raises
    ------
    UsageError
        One of them does not exist, or they are the same.
    """
    import pandas as pd

    if first == second:
        raise UsageError(f"{shown(first)} is one model.", "Name two: priorjobs models compare A B")
    listed = cards(database).set_index("model")
    for name in (first, second):
        if name not in listed.index:
            raise UsageError(
                f"There is no model {shown(name)}.", f"The models are: {', '.join(listed.index) or 'none yet'}."
            )
    rows = [
        (measure, listed.loc[first, measure], listed.loc[second, measure])
        for measure in listed.columns
        if measure != "is_in_use"
    ]
    together = face_off(database, first, second, examples(database))
    if together is not None:
        same = f"log_loss on the same {together['jobs']:,} later jobs, never-seen causes counted as none of these"
        rows.append((same, together["old"], together["new"]))
    return pd.DataFrame(rows, columns=["measure", first, second])

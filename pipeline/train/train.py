"""Learning from cured jobs: fit, score against the baselines, and the better model is put in use."""

from __future__ import annotations

import datetime as dt
import hashlib
import itertools
from typing import TYPE_CHECKING, Any

from pipeline.advice import kept
from pipeline.errors import ModelError
from pipeline.store.lock import alone_in
from pipeline.terminal.progress import bar
from pipeline.train import phrases
from pipeline.train.compare import choose
from pipeline.train.examples import FEWEST, examples, left_out
from pipeline.train.versions import brief, keep_version, next_name, storage_folder
from pipeline.train.word_background import background

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd

    from models.causes.model import CauseModel
    from pipeline.load.load_request import Told
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words

HELD_OUT = 0.2
STEPS = 4  # of a training, told on the way
BRIEF = ("model", "episodes", "left_out", "exam_jobs", "never_seen_causes", "causes", "as_of", "half_life")


def train(
    database: Database, words: Words, settings: Settings, *, force: bool = False, tell: Told | None = None
) -> dict[str, Any]:
    """Learn causes from the cured, mature jobs, and put the model in use unless the one in use is better.

    The last fifth of the jobs by time examine a model fitted on those before; the model kept is then fitted on all.
    Labels are the causes confirmed by the cure; shared credit and provisional cures stay out (the table holds none).

    Parameters
    ----------
    force
        Use the new model even when the one in use scores better.
    tell
        Told at each step how far it is.

    Returns
    -------
    model, in_use, episodes, left_out (older jobs than the newest that are learned from), exam_jobs, causes, as_of,
    half_life (as :func:`models.causes.half_life.choose` tells it, chosen on the jobs before the exam), scores,
    baselines, replaced, note.

    Raises
    ------
    ModelError
        Too few cured jobs.
    """
    from models.causes import storage
    from models.causes.features import wide
    from models.evaluate.backtest import examine, in_order, learn

    jobs = in_order(examples(database))
    _may_learn(database, len(jobs))
    cut = int(len(jobs) * (1 - HELD_OUT))
    past, asked = jobs.iloc[:cut], jobs.iloc[cut:]
    lists, step = background(words), _steps(tell)
    exam = examine(past, asked, background=lists, tell=step)
    step("learning from all jobs")
    learned = learn(wide(jobs), jobs, lists, before=exam["learned"])
    step("keeping the better model and the advice")
    with alone_in(database.folder_of_models):
        name = next_name(database)
        card = _card(name, jobs, cut, settings, exam, learned.classifier.model_) | {"left_out": left_out(database)}
        keep_version(database, name, learned.classifier.model_, exam["learned"].classifier.model_, card)
        used, note = choose(database, name, jobs, force=force)
        kept.keep(database, words)
        phrases.keep(database, jobs, words.filler)
    step("done")
    return _told(card) | {
        "in_use": used,
        "replaced": used == name,
        "note": note,
        "card": str(storage_folder(database, name) / "card.html"),
        "format": storage.FORMAT,
    }


def _may_learn(database: Database, jobs: int) -> None:
    """Refuse before the work what could not be learned or not be kept."""
    if jobs < FEWEST:
        raise ModelError(
            f"There are {jobs} cured jobs with a known cause whose follow-up is over; "
            f"at least {FEWEST} are needed to learn from.",
            "Load more job records, or record causes when jobs are closed; until then answers use the built-in lists.",
        )
    with alone_in(database.folder_of_models):
        pass


def _steps(tell: Told | None) -> Callable[[str], None]:
    """Tell what is begun, as a bar of the steps behind it."""
    begun = itertools.count()
    return lambda what: tell(bar(next(begun), STEPS, f"steps: {what}")) if tell else None


def _card(
    name: str, jobs: pd.DataFrame, cut: int, settings: Settings, exam: dict[str, Any], model: CauseModel
) -> dict[str, Any]:
    """Put together what the model card says."""
    from models.causes.model import OPINIONS
    from models.causes.pool import HEARD, UNHEARD
    from models.evaluate import drift

    past, asked = jobs.iloc[:cut], jobs.iloc[cut:]
    return {
        "model": name,
        "made_at": dt.datetime.now(dt.UTC).replace(microsecond=0).isoformat(),
        "snapshot": _snapshot(jobs),
        "episodes": len(jobs),
        "causes": int(jobs["cause"].nunique()),
        "first_date": _day(jobs["cure_date"].min()),
        "as_of": _day(jobs["cure_date"].max()),
        "exam_learned_to": _day(past["cure_date"].max()),
        "exam_jobs": len(asked),
        "settings": {"window_days": settings.window_days, "waiting_days": settings.waiting_days},
        "half_life": exam["learned"].half_life,
        "pool": {part: float(weight) for part, weight in zip(OPINIONS, model.weights[HEARD], strict=True)},
        "pool_of_own_words": {part: float(one) for part, one in zip(OPINIONS, model.weights[UNHEARD], strict=True)},
        "gains": exam["learned"].classifier.decided_.gains,
        "profile": drift.profile(jobs),
        "jobs_by_cause": {str(c): int(n) for c, n in jobs["cause"].value_counts().sort_index().items()},
        **{key: exam[key] for key in ("scores", "baselines", "never_seen_causes", "none_of_these") if key in exam},
        **{key: exam[key] for key in ("reliability", "by_kind", "by_facts") if key in exam},
    }


def _told(card: dict[str, Any]) -> dict[str, Any]:
    """What a training tells of its card."""
    return {key: card[key] for key in BRIEF} | {
        "scores": brief(card["scores"]),
        "baselines": {other: brief(scores) for other, scores in card["baselines"].items()},
    }


def _day(value: Any) -> str:
    return str(value)[:10]


def _snapshot(jobs: pd.DataFrame) -> str:
    """Short fingerprint of the training jobs: same jobs, same text."""
    text = (
        jobs.sort_index(axis=1)
        .map(lambda value: list(value) if hasattr(value, "tolist") else value)
        .to_json(date_format="iso", default_handler=str)
    )
    return hashlib.sha256((text or "").encode()).hexdigest()[:16]

"""Learning from cured jobs: fit, score against the baselines, keep versions, use the better one."""

from __future__ import annotations

import contextlib
import datetime as dt
import hashlib
import itertools
import json
import shutil
from typing import TYPE_CHECKING, Any

from pipeline.advice import kept
from pipeline.errors import ModelError, UsageError, file_fault, shown
from pipeline.store.atomic_write import whole
from pipeline.store.lock import alone_in
from pipeline.store.unchanged import while_unchanged
from pipeline.terminal.progress import bar
from pipeline.train import phrases
from pipeline.train.examples import examples, left_out
from pipeline.train.word_background import background

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import pandas as pd

    from models.causes.model import CauseModel
    from pipeline.load.asked import Told
    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.words import Words

IN_USE = "in_use.json"
EXAM = (
    "exam"  # the model fitted without the last jobs, kept so that later models can be compared on jobs neither has seen
)
HELD_OUT = 0.2
STEPS = 4  # of a training, told on the way
FEWEST = 20  # cured jobs without which nothing is learned
WORSE_BY = 0.01  # nats by which a new model must be worse to be refused
BRIEF = ("model", "episodes", "left_out", "exam_jobs", "never_seen_causes", "causes", "as_of", "half_life")
SCORES = ("log_loss", "top1", "top3", "brier", "calibration_error")


def train(
    database: Database, words: Words, settings: Settings, *, force: bool = False, tell: Told | None = None
) -> dict[str, Any]:
    """Learn causes from the cured, mature jobs, and put the model in use unless the one in use is better.

    The last fifth of the jobs by time examine a model fitted on those before; the model kept is then fitted on all.
    Labels are the
    causes confirmed by the cure; shared credit and provisional cures are no label and stay out (the table holds none).

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
        name = _next_name(database)
        card = _card(name, jobs, cut, settings, exam, learned.classifier.model_) | {"left_out": left_out(database)}
        _keep(database, name, learned.classifier.model_, exam["learned"].classifier.model_, card)
        used, note = _choose(database, name, jobs, force=force)
        kept.keep(database, words)
        phrases.keep(database, jobs)
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
        "scores": _brief(card["scores"]),
        "baselines": {other: _brief(scores) for other, scores in card["baselines"].items()},
    }


def _brief(scores: dict[str, Any] | None) -> dict[str, Any] | None:
    return None if scores is None else {key: scores[key] for key in SCORES}


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


def storage_folder(database: Database, name: str) -> Path:
    """Folder of one model."""
    return database.folder_of_models / name


def _names(database: Database) -> list[str]:
    folder = database.folder_of_models
    return sorted(p.name for p in folder.iterdir() if p.is_dir() and p.name.isdigit()) if folder.is_dir() else []


def _next_name(database: Database) -> str:
    return f"{max((int(name) for name in _names(database)), default=0) + 1:04d}"


def _keep(database: Database, name: str, model: CauseModel, exam: CauseModel, card: dict[str, Any]) -> None:
    """Write the model beside the others, complete or not at all."""
    from models.causes import storage
    from reports.pages.model_card import card_page

    target = storage_folder(database, name)
    unfinished = target.with_name(f".{name}.unfinished")
    shutil.rmtree(unfinished, ignore_errors=True)
    try:
        storage.save(model, unfinished, card)
        storage.save(exam, unfinished / EXAM, {"model": f"{name}, without its last jobs"})
        (unfinished / "card.html").write_text(card_page(card), encoding="utf-8")
        unfinished.rename(target)
    except OSError as fault:
        shutil.rmtree(unfinished, ignore_errors=True)
        raise file_fault(fault, target) from fault


def _choose(database: Database, name: str, jobs: pd.DataFrame, *, force: bool) -> tuple[str, str]:
    """Put the new model in use unless the present one answers better on jobs neither of their exam models has seen."""
    present = _readable_name(database)
    if present is None or force:
        _point_at(database, name)
        return name, "first model" if present is None else "put in use as asked"
    verdict = _face_off(database, present, name, jobs)
    if verdict is not None and verdict["new"] > verdict["old"] + max(WORSE_BY, verdict["error"]):
        note = (
            f"Model {present} stays in use: on {verdict['jobs']} jobs neither had seen "
            f"its log-loss is {verdict['old']:.3f}, "
            f"the new one's {verdict['new']:.3f}. To use the new one all the same: priorjobs train --force"
        )
        return present, note
    _point_at(database, name)
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


def _face_off(database: Database, old: str, new: str, jobs: pd.DataFrame) -> dict[str, Any] | None:
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


def _point_at(database: Database, name: str) -> None:
    with whole(database.folder_of_models / IN_USE) as draft:
        draft.write_text(json.dumps({"model": name}), encoding="utf-8")


def name_in_use(database: Database) -> str | None:
    """Name of the model in use; None when there is none."""
    path = database.folder_of_models / IN_USE
    if not path.is_file():
        return None
    try:
        name = json.loads(path.read_text(encoding="utf-8"))["model"]
    except (ValueError, KeyError, TypeError, OSError) as fault:
        raise ModelError(f"{shown(path)} cannot be read.", "Choose a model again: priorjobs models use NAME") from fault
    if name not in _names(database):
        raise ModelError(
            f"The model in use, {shown(name)}, is not there.",
            "Choose another: priorjobs models use NAME, or priorjobs train",
        )
    return str(name)


def _readable_name(database: Database) -> str | None:
    """Name of the model in use; None too where what names it is damaged: choosing another mends it."""
    with contextlib.suppress(ModelError):
        return name_in_use(database)
    return None


def current_model(database: Database) -> CauseModel | None:
    """Return the model in use, ready to answer; None when none was ever fitted.

    Raises
    ------
    ModelError
        The model in use is missing or damaged.
    """
    name = name_in_use(database)
    if name is None:
        return None
    from models.causes import storage

    folder = storage_folder(database, name)
    files = [(file.name, file.stat().st_size, file.stat().st_mtime_ns) for file in sorted(folder.glob("*"))]
    try:
        return while_unchanged(database, ("model", folder, *files), lambda: storage.open_model(folder))
    except storage.ModelUnreadable as fault:
        raise ModelError(
            f"Model {name} cannot be used: {shown(fault, 160)}.",
            "Go back to another with priorjobs models use NAME, or run priorjobs train.",
        ) from fault


def list_models(database: Database) -> pd.DataFrame:
    """List the fitted models, oldest first: what they learned from, which is in use, scores on held-out jobs."""
    return _cards(database).drop(columns="half_life_years")


def _cards(database: Database) -> pd.DataFrame:
    import pandas as pd

    from models.causes import storage

    in_use = _readable_name(database)
    rows = []
    for name in _names(database):
        try:
            card = storage.read_card(storage_folder(database, name))
        except storage.ModelUnreadable:
            rows.append({"model": name, "is_in_use": name == in_use, "made_at": "cannot be read"})
            continue
        row = {key: card.get(key) for key in ("made_at", "episodes", "causes", "as_of")}
        row["half_life_years"] = (card.get("half_life") or {}).get("years")
        rows.append({"model": name, "is_in_use": name == in_use, **row, **(_brief(card.get("scores")) or {})})
    columns = ["model", "is_in_use", "made_at", "episodes", "causes", "as_of", "half_life_years", *SCORES]
    return pd.DataFrame(rows, columns=columns)


def use_model(database: Database, name: str) -> dict[str, Any]:
    """Put a model in use, after reading it whole.

    Raises
    ------
    UsageError
        There is no such model.
    ModelError
        It is damaged.
    """
    names = _names(database)
    if name not in names:
        known = ", ".join(names) or "none yet"
        raise UsageError(f"There is no model {shown(name)}.", f"The models are: {known}.")
    from models.causes import storage

    try:
        storage.open_model(storage_folder(database, name))
    except storage.ModelUnreadable as fault:
        raise ModelError(
            f"Model {name} cannot be used: {shown(fault, 160)}.", "Choose another, or run priorjobs train."
        ) from fault
    with alone_in(database.folder_of_models):
        before = _readable_name(database)
        _point_at(database, name)
    return {"in_use": name, "before": before}


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
    listed = _cards(database).set_index("model")
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
    together = _face_off(database, first, second, examples(database))
    if together is not None:
        same = f"log_loss on the same {together['jobs']:,} later jobs, never-seen causes counted as none of these"
        rows.append((same, together["old"], together["new"]))
    return pd.DataFrame(rows, columns=["measure", first, second])


def backtest(
    database: Database, words: Words, settings: Settings, *, months: int = 12, tell: Told | None = None
) -> dict[str, Any]:
    """Score month by month, trained on the past; baselines in the same table; a learning curve.

    ``tell`` is told how far it is.

    Raises
    ------
    ModelError
        Too few cured jobs.
    """
    from models.evaluate.backtest import learning_curve, roll

    jobs = examples(database)
    if len(jobs) < FEWEST:
        raise ModelError(
            f"There are {len(jobs)} cured jobs; a backtest needs at least {FEWEST}.", "Load more job records."
        )
    lists, say = background(words), tell or (lambda _: None)
    say("Learning from more and more of the jobs …")
    curve = learning_curve(jobs, background=lists, tell=lambda done, of: say(bar(done, of, "shares of the jobs")))
    say("Learning from the past, asking about what came next …")
    rolled = roll(jobs, months, background=lists, tell=lambda done, of: say(bar(done, of, "quarters")))
    return rolled | {"learning_curve": curve, "episodes": len(jobs), "left_out": left_out(database)}


def drift(database: Database) -> dict[str, Any]:
    """Say how far the work has moved from what the model in use learned; an empty dictionary when there is no model."""
    model = current_model(database)
    if model is None:
        return {}
    import pandas as pd

    from models.evaluate.drift import check

    jobs = examples(database)
    newer = jobs[pd.to_datetime(jobs["cure_date"]) > pd.Timestamp(str(model.card["as_of"]))]
    return {"model": model.card["model"], **check(model, newer)}

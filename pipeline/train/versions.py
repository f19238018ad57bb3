"""Models in versions beside the database: kept, listed, read, and one of them in use."""

from __future__ import annotations

import contextlib
import json
import shutil
from typing import TYPE_CHECKING, Any

from pipeline.errors import ModelError, UsageError, file_fault, shown
from pipeline.store.atomic_write import whole
from pipeline.store.cache import while_unchanged
from pipeline.store.lock import alone_in

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from models.causes.model import CauseModel
    from pipeline.store.database import Database

IN_USE = "in_use.json"
EXAM = "exam"
"""The model fitted without the last jobs, kept so that later models can be compared on jobs neither has seen."""
SCORES = ("log_loss", "top1", "top3", "brier", "calibration_error")


def storage_folder(database: Database, name: str) -> Path:
    """Folder of one model."""
    return database.folder_of_models / name


def names(database: Database) -> list[str]:
    """Names of the models kept, oldest first."""
    folder = database.folder_of_models
    return sorted(p.name for p in folder.iterdir() if p.is_dir() and p.name.isdigit()) if folder.is_dir() else []


def next_name(database: Database) -> str:
    """Name of the model that comes next."""
    return f"{max((int(name) for name in names(database)), default=0) + 1:04d}"


def keep_version(database: Database, name: str, model: CauseModel, exam: CauseModel, card: dict[str, Any]) -> None:
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


def put_in_use(database: Database, name: str) -> None:
    """Write down which model answers."""
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
    if name not in names(database):
        raise ModelError(
            f"The model in use, {shown(name)}, is not there.",
            "Choose another: priorjobs models use NAME, or priorjobs train",
        )
    return str(name)


def readable_name(database: Database) -> str | None:
    """Name of the model in use; None too where what names it is damaged: choosing another puts it right."""
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
    return cards(database).drop(columns="half_life_years")


def cards(database: Database) -> pd.DataFrame:
    """What the cards of all models say, a row a model, oldest first."""
    import pandas as pd

    from models.causes import storage

    in_use = readable_name(database)
    rows = []
    for name in names(database):
        try:
            card = storage.read_card(storage_folder(database, name))
        except storage.ModelUnreadable:
            rows.append({"model": name, "is_in_use": name == in_use, "made_at": "cannot be read"})
            continue
        row = {key: card.get(key) for key in ("made_at", "episodes", "causes", "as_of")}
        row["half_life_years"] = (card.get("half_life") or {}).get("years")
        rows.append({"model": name, "is_in_use": name == in_use, **row, **(brief(card.get("scores")) or {})})
    columns = ["model", "is_in_use", "made_at", "episodes", "causes", "as_of", "half_life_years", *SCORES]
    return pd.DataFrame(rows, columns=columns)


def brief(scores: dict[str, Any] | None) -> dict[str, Any] | None:
    """Of all scores, those that are told."""
    return None if scores is None else {key: scores[key] for key in SCORES}


def use_model(database: Database, name: str) -> dict[str, Any]:
    """Put a model in use, after reading it whole.

    Raises
    ------
    UsageError
        There is no such model.
    ModelError
        It is damaged.
    """
    kept = names(database)
    if name not in kept:
        known = ", ".join(kept) or "none yet"
        raise UsageError(f"There is no model {shown(name)}.", f"The models are: {known}.")
    from models.causes import storage

    try:
        storage.open_model(storage_folder(database, name))
    except storage.ModelUnreadable as fault:
        raise ModelError(
            f"Model {name} cannot be used: {shown(fault, 160)}.", "Choose another, or run priorjobs train."
        ) from fault
    with alone_in(database.folder_of_models):
        before = readable_name(database)
        put_in_use(database, name)
    return {"in_use": name, "before": before}

"""How far a probability may be off, and when the question lies outside what was learned."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from models.causes.encoding import Column, never_seen
from models.causes.features import CODE, FINDING, NEVER_STRANGE, SYMPTOM
from models.causes.uncertainty import around
from models.statistics.intervals import wilson

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from models.causes.model import CauseModel

KIND = "kind"


def interval(chance: np.ndarray, jobs: float, width: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """95 % interval of probabilities: by the width the model learned, if it did.

    Else Wilson's of a share of ``jobs`` similar past jobs, which tells their number and not what the model may be off.

    Without any similar job the interval is the whole of 0 to 1.
    """
    if width is not None and len(width):
        return around(chance, width)
    if jobs <= 0:
        return np.zeros_like(chance), np.ones_like(chance)
    low, high = wilson(chance * jobs, np.full(len(chance), jobs))
    return np.minimum(low, chance), np.maximum(high, chance)


def outside_notes(model: CauseModel, asked: pd.DataFrame) -> list[list[str] | None]:
    """What of each question lies outside what was learned, in plain words; None when nothing does."""
    known_names = {column.name for column in model.columns}
    unknown = [Column(name, (), ()) for name in asked.columns if name not in known_names]  # no value of it was seen
    strange = never_seen(asked, [column for column in (*model.columns, *unknown) if column.name not in NEVER_STRANGE])
    return [_outside(model, str(kind), of_one) for kind, of_one in zip(asked[KIND], strange, strict=True)]


def _outside(model: CauseModel, kind: str, strange: Mapping[str, Any]) -> list[str] | None:
    untold = {CODE: "none"}
    told = [
        name
        for name, value in strange.items()
        if value != ("no" if name.startswith((SYMPTOM, FINDING)) else untold.get(name))
    ]
    if KIND not in told and model.unseen.jobs.get(kind) == 0:
        told.append(KIND)  # on the lists, but no job of it was learned from
    return list(dict.fromkeys(_said(name) for name in told)) or None


def _said(name: str) -> str:
    plain = {
        "kind": "new kind",
        "make": "new make",
        "model_family": "new model",
        "age_years": "age",
        "code": "new code",
    }
    if name in plain:
        return plain[name]
    return (
        f"new finding ({name.removeprefix(FINDING)})"
        if name.startswith(FINDING)
        else f"new complaint ({name.removeprefix(SYMPTOM)})"
    )

"""Drift: whether the work has changed since the model in use was trained."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from pipeline.train.examples import examples
from pipeline.train.versions import current_model

if TYPE_CHECKING:
    from pipeline.store.database import Database


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

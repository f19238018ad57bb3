"""How many past jobs stand behind a probability, and when the question lies outside what was learned."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from models.causes.encoding import never_seen
from models.causes.features import CODE, FINDING, SYMPTOM, TEXT
from models.causes.width import around

if TYPE_CHECKING:
    from collections.abc import Collection

    from models.causes.model import CauseModel

MOST_JOBS_SHOWN = 5
KIND = "kind"
Z = 1.959964  # two-sided 95 %


def similar_jobs(
    cause_example: pd.DataFrame, kind: str, symptoms: Collection[str], codes: Collection[str]
) -> pd.DataFrame:
    """Past jobs like this one, by cause.

    A past job is similar when it is of the same kind and shares a symptom or a code; when the question names neither,
    the kind
    is enough.

    Parameters
    ----------
    cause_example
        Training jobs: kind, symptoms, codes, cause, job_no, cure_date.

    Returns
    -------
    cause, similar_jobs, jobs (list of up to five job numbers, newest first); most jobs first, then by name.
    """
    same_kind = cause_example[cause_example["kind"] == kind]
    asked, shown = set(symptoms), set(codes)
    if asked or shown:
        shares = [
            not asked.isdisjoint(_entries(s)) or not shown.isdisjoint(_entries(c))
            for s, c in zip(same_kind["symptoms"], same_kind["codes"], strict=True)
        ]
        same_kind = same_kind[np.array(shares, dtype=bool)]
    newest = same_kind.sort_values(["cure_date", "job_no"], ascending=[False, True])
    rows = [
        (cause, len(group), [str(job) for job in group["job_no"].dropna().head(MOST_JOBS_SHOWN)])
        for cause, group in newest.groupby("cause", sort=True)
    ]
    table = pd.DataFrame(rows, columns=["cause", "similar_jobs", "jobs"])
    return table.sort_values(["similar_jobs", "cause"], ascending=[False, True], ignore_index=True)


def _entries(value: object) -> set[str]:
    return {str(one) for one in value} if hasattr(value, "__iter__") and not isinstance(value, str) else set()


def interval(chance: np.ndarray, jobs: float, width: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """95 % interval of probabilities: by the width the model learned, if it did.

    Else Wilson's of a share of ``jobs`` similar past jobs, which tells their number and not what the model may be off.

    Without any similar job the interval is the whole of 0 to 1.
    """
    if width is not None and len(width):
        return around(chance, width)
    if jobs <= 0:
        return np.zeros_like(chance), np.ones_like(chance)
    spread = 1 + Z**2 / jobs
    middle = (chance + Z**2 / (2 * jobs)) / spread
    half = Z / spread * np.sqrt(chance * (1 - chance) / jobs + Z**2 / (4 * jobs**2))
    return np.minimum(np.maximum(middle - half, 0.0), chance), np.maximum(np.minimum(middle + half, 1.0), chance)


def outside_note(model: CauseModel, asked: pd.DataFrame) -> str | None:
    """Plain words when the one-row question lies outside what was learned; None when it does not."""
    known_names = {column.name for column in model.columns}
    strange = never_seen(asked, model.columns)
    is_told = asked.iloc[0].notna()
    strange += [name for name in asked.columns[is_told] if name not in known_names and name != TEXT]
    untold = {CODE: "none"}
    told = [
        name
        for name in strange
        if asked[name].iloc[0] != ("no" if name.startswith((SYMPTOM, FINDING)) else untold.get(name))
    ]
    kind = str(asked[KIND].iloc[0])
    if KIND not in told and model.unseen.jobs.get(kind) == 0:
        told.append(KIND)  # on the lists, but no job of it was learned from
    said = [_said(name) for name in told]
    if not said:
        return None
    return f"Outside the past jobs: {', '.join(dict.fromkeys(said))}. The answer rests on what else is known."


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

"""What in the question raised or lowered a cause: log-odds a fact."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from models.causes.features import CODE, FINDING, SYMPTOM

if TYPE_CHECKING:
    from models.causes.model import CauseModel


def reasons(model: CauseModel, asked: pd.DataFrame, first: int = 3) -> pd.DataFrame:
    """Log-odds that each known fact of a one-row question adds to the likeliest causes, against the others.

    Returns
    -------
    cause, fact (in words), log_odds (nats; positive raises the cause; what the fact says for it less what it says for
    the others,
    each weighted by its probability); strongest first within a cause. All symptom columns together are one fact, the
    complaint.
    """
    chance = model.predict_proba(asked)[0]
    told: dict[str, np.ndarray] = {}
    for name, adds in model.contributions(asked).items():
        fact = _fact(name, asked)
        told[fact] = told.get(fact, np.zeros(len(chance))) + adds
    order = np.argsort(-chance, kind="stable")[:first]
    rows = []
    for cause in order:
        rest = np.delete(chance, cause)
        share = rest / rest.sum() if rest.sum() > 0 else np.full(len(rest), 1 / max(len(rest), 1))
        for fact, adds in told.items():
            rows.append(
                (str(model.classes_[cause]), fact, float(adds[cause] - np.delete(adds, cause) @ share), int(cause))
            )
    table = pd.DataFrame(rows, columns=["cause", "fact", "log_odds", "place"])
    table["place"] = table["place"].map({cause: k for k, cause in enumerate(order)})
    table["size"] = -table["log_odds"].abs()
    return table.sort_values(["place", "size", "fact"], kind="stable", ignore_index=True)[["cause", "fact", "log_odds"]]


def _fact(name: str, asked: pd.DataFrame) -> str:
    if name == "together":
        return "all facts together"
    if name.startswith(SYMPTOM):
        said = [c.removeprefix(SYMPTOM) for c in asked.columns if c.startswith(SYMPTOM) and asked[c].iloc[0] == "yes"]
        return f"complaint: {', '.join(said)}"
    value = asked[name].iloc[0]
    if name.startswith(FINDING):
        return f"{name.removeprefix(FINDING)}: {value}"
    if name == CODE:
        return "no code" if value == "none" else f"code {value}"
    if name == "age_years":
        return f"age {value:g} years"
    return f"{name.replace('_', ' ')} {value}"


def in_words(table: pd.DataFrame, cause: str, most: int = 3) -> str:
    """One line: what raised and what lowered a cause, strongest first; facts under 0.2 nats are left out."""
    mine = table[table["cause"] == cause]
    up = mine[mine["log_odds"] > 0.2]["fact"].head(most).tolist()
    down = mine[mine["log_odds"] < -0.2]["fact"].head(most).tolist()
    parts = ([f"for: {'; '.join(up)}"] if up else []) + ([f"against: {'; '.join(down)}"] if down else [])
    return ", ".join(parts) or "nothing in the question stands out"

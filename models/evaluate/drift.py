"""Whether the work has moved away from what the model learned: new words, a shifted mix, a falling score."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from models.causes.encoding import encode
from models.causes.features import NEVER_STRANGE, wide
from models.evaluate.backtest import codes_of
from models.evaluate.scores import log_loss

if TYPE_CHECKING:
    from models.causes.model import CauseModel

ENOUGH = 50  # newer jobs before a shift is called (common practice, no source)
SHIFTED = 0.25  # population stability index from which a mix counts as shifted (common practice, no source)
NEW_WORDS = 0.10  # share of jobs with a fact never seen from which it is said


def profile(cause_example: pd.DataFrame) -> dict[str, dict[str, float]]:
    """Shares of kinds, makes and causes, to be kept with the model."""
    return {
        name: {
            str(k): float(v)
            for k, v in cause_example[name].astype(str).value_counts(normalize=True, sort=False).sort_index().items()
        }
        for name in ("kind", "make", "cause")
    }


def stability_index(before: dict[str, float], after: dict[str, float], least: float = 1e-3) -> float:
    """Σ (after − before)·ln(after / before) over categories, shares no smaller than ``least``: 0 = same mix."""
    names = sorted(set(before) | set(after))
    b = np.array([max(before.get(name, 0.0), least) for name in names])
    a = np.array([max(after.get(name, 0.0), least) for name in names])
    b, a = b / b.sum(), a / a.sum()
    return float(((a - b) * np.log(a / b)).sum())


def _moved_most(before: dict[str, float], now: dict[str, float], learned: int, newer: int) -> dict[str, Any]:
    """Give the value whose share changed most, and whether chance moves one of so many values that far.

    Two shares of independent jobs compared by their normal approximation, Bonferroni over the values.
    """
    from scipy.stats import norm

    names = sorted(set(before) | set(now))
    apart = np.array([now.get(name, 0.0) - before.get(name, 0.0) for name in names])
    both = np.array(
        [(learned * before.get(name, 0.0) + newer * now.get(name, 0.0)) / (learned + newer) for name in names]
    )
    error = np.sqrt(both * (1 - both) * (1 / learned + 1 / newer))
    most = int(np.abs(apart).argmax())
    chance = 2 * norm.sf(abs(apart[most]) / max(error[most], 1e-9)) * len(names)
    name = names[most]
    return {
        "value": name,
        "before": before.get(name, 0.0),
        "now": now.get(name, 0.0),
        "chance_allows": bool(chance > 0.05),
    }


def check(model: CauseModel, newer: pd.DataFrame) -> dict[str, Any]:
    """Compare jobs cured since the model was fitted with what it learned.

    Parameters
    ----------
    model
        The model in use; its card holds ``profile`` and ``scores``.
    newer
        ``cause_example`` rows cured after the model's last job.

    Returns
    -------
    jobs, new_words (share of jobs with a value never seen), shift (name → index), moved (name → the value whose share
    changed most: value, before, now, chance_allows), log_loss (None when too few), said (sentences; empty = nothing to
    say).
    """
    result: dict[str, Any] = {
        "jobs": len(newer),
        "new_words": None,
        "shift": {},
        "moved": {},
        "log_loss": None,
        "said": [],
    }
    if len(newer) < ENOUGH:
        return result
    facts = wide(newer)
    known = {column.name for column in model.columns}
    coded = encode(facts, model.columns)
    told = facts.reindex(columns=[column.name for column in model.columns]).notna().to_numpy()
    strange = ((coded < 0) & told).any(axis=1)
    new_columns = [name for name in facts.columns if name not in known and name not in NEVER_STRANGE]
    strange |= facts[new_columns].isin(["no"]).eq(False).where(facts[new_columns].notna(), False).any(axis=1).to_numpy()
    result["new_words"] = float(strange.mean())
    now = profile(newer)
    before = model.card.get("profile", {})
    result["shift"] = {name: stability_index(shares, now[name]) for name, shares in before.items()}
    result["moved"] = {
        name: _moved_most(shares, now[name], int(model.card["episodes"]), len(newer)) for name, shares in before.items()
    }
    cause = codes_of(newer["cause"], [str(name) for name in model.classes_])
    seen = cause >= 0
    if seen.any():
        result["log_loss"] = log_loss(model.predict_proba(facts)[seen], cause[seen])
    result["said"] = _sentences(result, (model.card.get("scores") or {}).get("log_loss"))
    return result


def _sentences(result: dict[str, Any], promised: float | None) -> list[str]:
    said = []
    if result["new_words"] > NEW_WORDS:
        said.append(
            f"{result['new_words']:.0%} of the {result['jobs']} newer jobs hold a word the model has never seen."
        )
    said += [
        f"The mix of {name}s has shifted since the model was fitted: {moved['value']} {moved['before']:.0%} before, "
        f"{moved['now']:.0%} of the {result['jobs']} newer jobs."
        for name, moved in result["moved"].items()
        if result["shift"][name] > SHIFTED and not moved["chance_allows"]
    ]
    if promised is not None and result["log_loss"] is not None and result["log_loss"] > promised + 0.15:
        said.append(f"The score on newer jobs ({result['log_loss']:.2f}) is worse than on the card ({promised:.2f}).")
    return said

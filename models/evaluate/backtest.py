"""How well it would have done: train on the past, ask about what came next, roll on; baselines in the same table."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from models.causes.features import NEVER_STRANGE, SYMPTOM, TEXT, wide
from models.causes.half_life import choose, weigh
from models.evaluate.baselines import BASELINES
from models.evaluate.scores import reliability, score_table

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from models.causes.classifier import CauseClassifier

MODEL = "priorjobs"
FEWEST_TO_LEARN = 50  # jobs before a month is asked about
MONTHS_A_FIT = 3  # all learn anew a quarter: every month would take three times as long and say the same
SHARES_OF_CURVE = (0.125, 0.25, 0.5, 1.0)
FACT_BANDS = ((0, 3), (4, 6), (7, 9), (10, 99))


def new_classifier(background: pd.DataFrame | None = None) -> CauseClassifier:
    """Make the classifier as priorjobs trains it."""
    from models.causes.classifier import CauseClassifier

    return CauseClassifier(scope="kind", text=TEXT, background=background)


@dataclass(frozen=True)
class Learned:
    """What was learned from jobs.

    Attributes
    ----------
    classifier
        Fitted on them.
    half_life
        How they were weighed, as :func:`models.causes.half_life.choose` tells it.
    """

    classifier: CauseClassifier
    half_life: dict[str, Any]


def learn(
    facts: pd.DataFrame, jobs: pd.DataFrame, background: pd.DataFrame | None, before: Learned | None = None
) -> Learned:
    """Choose how much older jobs weigh, and fit; what was decided ``before`` is kept.

    Parameters
    ----------
    facts, jobs
        One row a job, in order of time: as :func:`models.causes.features.wide` spreads them; cause and cure_date.
    """
    cause, cured = jobs["cause"].astype(str), jobs["cure_date"]
    half_life = choose(facts, cause, cured, background) if before is None else before.half_life
    weight = weigh(cured, half_life["years"])
    if before is None:
        return Learned(new_classifier(background).fit(facts, cause, weight), half_life)
    return Learned(before.classifier.refit(facts, cause, weight), half_life)


def in_order(cause_example: pd.DataFrame) -> pd.DataFrame:
    """Jobs in order of time, ties by episode."""
    return cause_example.sort_values(["cure_date", "episode_id"], ignore_index=True)


def known_facts(facts: pd.DataFrame) -> np.ndarray:
    """How many facts each job's X tells, the complaint counted once a symptom named."""
    symptoms = [name for name in facts.columns if name.startswith(SYMPTOM)]
    others = [name for name in facts.columns if not name.startswith(SYMPTOM) and name not in NEVER_STRANGE]
    told: np.ndarray = facts[others].notna().sum(axis=1).to_numpy() + (facts[symptoms] == "yes").sum(axis=1).to_numpy()
    return told


def together(past: pd.DataFrame, asked: pd.DataFrame) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Facts of past and asked jobs, with the same columns."""
    both = wide(pd.concat([past, asked], ignore_index=True))
    return both.iloc[: len(past)], both.iloc[len(past) :].reset_index(drop=True)


def answers(
    learned: Learned,
    past: pd.DataFrame,
    facts: pd.DataFrame,
    questions: pd.DataFrame,
    baselines: Mapping[str, Callable[..., np.ndarray]],
) -> tuple[list[str], dict[str, np.ndarray]]:
    """Causes of the past jobs in order, and probabilities by name, the model first.

    What the model keeps for other causes that the background knows is lost to it.
    """
    names, cause = np.unique(past["cause"].astype(str), return_inverse=True)
    met = np.searchsorted(learned.classifier.classes_.astype(str), names)
    told = {MODEL: learned.classifier.predict_proba(questions)[:, met]}
    with threadpool_limits(limits=1):
        for name, guess in baselines.items():
            told[name] = guess(facts, cause, len(names), questions)
    return [str(name) for name in names], told


def codes_of(cause: pd.Series, names: list[str]) -> np.ndarray:
    """Place of each cause in ``names``; −1 = not among them."""
    return np.asarray(pd.Index(names).get_indexer(pd.Index(cause.astype(str))))


def examine(
    past: pd.DataFrame,
    asked: pd.DataFrame,
    baselines: Mapping[str, Callable[..., np.ndarray]] = BASELINES,
    background: pd.DataFrame | None = None,
    tell: Callable[[str], None] = lambda _: None,
) -> dict[str, Any]:
    """Score the model and the baselines on jobs that come after those they learned from, telling what is being done.

    Jobs whose cause was never seen before are scored by nobody; they are counted, beside what "none of these" said.

    Returns
    -------
    scores, baselines (name → scores), never_seen_causes, none_of_these (mean chance said), reliability (rows), by_kind,
    by_facts, learned (:class:`Learned`).
    """
    facts, questions = together(past, asked)
    tell("learning from the earlier jobs")
    learned = learn(facts, past, background)
    tell("asking about the later ones")
    names, chances = answers(learned, past, facts, questions, baselines)
    cause = codes_of(asked["cause"], names)
    known = cause >= 0
    result: dict[str, Any] = {
        "never_seen_causes": int((~known).sum()),
        "learned": learned,
        "scores": None,
        "baselines": {},
    }
    result["none_of_these"] = float(learned.classifier.none_of_these(questions).mean()) if len(asked) else 0.0
    if not known.any():
        return result
    tables = {name: score_table(chance[known], cause[known]) for name, chance in chances.items()}
    result["scores"] = tables.pop(MODEL)
    result["baselines"] = tables
    return result | _broken_down(chances[MODEL][known], cause[known], questions[known], asked[known])


def _broken_down(chance: np.ndarray, cause: np.ndarray, questions: pd.DataFrame, asked: pd.DataFrame) -> dict[str, Any]:
    first = chance.argmax(axis=1) == cause
    kinds = asked["kind"].astype(str).to_numpy()
    told = known_facts(questions)
    bands = {
        f"{low} to {high}" if high < 99 else f"{low} or more": (told >= low) & (told <= high)
        for low, high in FACT_BANDS
    }
    return {
        "reliability": reliability(chance.max(axis=1), first.astype(float), 10),
        "by_kind": {kind: score_table(chance[kinds == kind], cause[kinds == kind]) for kind in sorted(set(kinds))},
        "by_facts": {band: score_table(chance[here], cause[here]) for band, here in bands.items() if here.any()},
    }


def roll(
    cause_example: pd.DataFrame,
    months: int,
    baselines: Mapping[str, Callable[..., np.ndarray]] = BASELINES,
    background: pd.DataFrame | None = None,
    tell: Callable[[int, int], None] = lambda *_: None,
) -> dict[str, Any]:
    """Score month by month over the last ``months`` months with jobs.

    The model and the baselines learn from all jobs cured before a quarter begins and are asked about its months; then
    the next quarter. What held-out jobs decide about the model (which parts speak, how loud) is decided before the
    first month and kept, so nothing ever rests on a job it is asked about, nor on a later one.

    Returns
    -------
    months (one row a month: month, jobs, learned_from, log_loss, top1, top3), scores and baselines over all of them
    together, half_life (as :func:`models.causes.half_life.choose` tells it), reliability, by_kind, by_facts,
    never_seen_causes.
    """
    jobs = in_order(cause_example)
    month = pd.to_datetime(jobs["cure_date"]).dt.to_period("M")
    all_names = sorted(set(jobs["cause"].astype(str)))
    quarters: list[_Quarter] = []
    learned: Learned | None = None
    later = [one for one in sorted(month.unique())[-months:] if (month < one).sum() >= FEWEST_TO_LEARN]
    for first in range(0, len(later), MONTHS_A_FIT):
        past, asked = jobs[month < later[first]], jobs[month.isin(later[first : first + MONTHS_A_FIT])]
        facts, questions = together(past, asked)
        learned = learn(facts, past, background, learned)
        names, chances = answers(learned, past, facts, questions, baselines)
        tell(first // MONTHS_A_FIT + 1, -(-len(later) // MONTHS_A_FIT))
        known = codes_of(asked["cause"], names) >= 0
        spread = {name: _spread(chance[known], names, all_names) for name, chance in chances.items()}
        quarters.append(_Quarter(len(past), questions[known], asked[known], spread, int((~known).sum())))
    never_seen = sum(quarter.never_seen for quarter in quarters)
    quarters = [quarter for quarter in quarters if len(quarter.asked)]
    if not quarters or learned is None:
        return {"months": [], "scores": None, "baselines": {}, "never_seen_causes": never_seen}
    asked = pd.concat([quarter.asked for quarter in quarters], ignore_index=True)
    questions = pd.concat([quarter.questions for quarter in quarters], ignore_index=True)
    cause = codes_of(asked["cause"], all_names)
    collected = {name: np.concatenate([one.chances[name] for one in quarters]) for name in quarters[0].chances}
    tables = {name: score_table(chance, cause) for name, chance in collected.items()}
    rows = [row for quarter in quarters for row in _by_month(quarter, all_names)]
    told = {"months": rows, "scores": tables.pop(MODEL), "baselines": tables, "never_seen_causes": never_seen}
    return told | {"half_life": learned.half_life} | _broken_down(collected[MODEL], cause, questions, asked)


@dataclass(frozen=True)
class _Quarter:
    """What was asked in a quarter: only jobs whose cause had been met, one row a job; the others are counted."""

    learned_from: int
    questions: pd.DataFrame
    asked: pd.DataFrame
    chances: dict[str, np.ndarray]
    never_seen: int


def _spread(chance: np.ndarray, names: list[str], all_names: list[str]) -> np.ndarray:
    """Probabilities with a column for causes met later too."""
    spread = np.zeros((len(chance), len(all_names)))
    spread[:, codes_of(pd.Series(names), all_names)] = chance
    return spread


def _by_month(quarter: _Quarter, names: list[str]) -> list[dict[str, Any]]:
    month = pd.to_datetime(quarter.asked["cure_date"]).dt.to_period("M").to_numpy()
    cause, rows = codes_of(quarter.asked["cause"], names), []
    for one in sorted(set(month)):
        table = score_table(quarter.chances[MODEL][month == one], cause[month == one])
        scores = {key: table[key] for key in ("jobs", "log_loss", "top1", "top3")}
        rows.append({"month": str(one), "learned_from": quarter.learned_from, **scores})
    return rows


def learning_curve(
    cause_example: pd.DataFrame,
    held_out: float = 0.2,
    background: pd.DataFrame | None = None,
    tell: Callable[[int, int], None] = lambda *_: None,
) -> list[dict[str, float]]:
    """Log-loss and top-1 on the last jobs, learned from more and more of the jobs before: what more would buy.

    ``tell`` is told after each share how many are done, of how many.
    """
    jobs = in_order(cause_example)
    cut = int(len(jobs) * (1 - held_out))
    past, asked = jobs.iloc[:cut], jobs.iloc[cut:]
    rows = []
    for number, share in enumerate(SHARES_OF_CURVE, start=1):
        recent = past.iloc[len(past) - max(int(len(past) * share), 1) :]
        if len(recent) < FEWEST_TO_LEARN:
            continue
        facts, questions = together(recent, asked)
        names, chances = answers(learn(facts, recent, background), recent, facts, questions, {})
        tell(number, len(SHARES_OF_CURVE))
        cause = codes_of(asked["cause"], names)
        known = cause >= 0
        if not known.any():
            continue
        table = score_table(chances[MODEL][known], cause[known])
        rows.append(
            {
                "learned_from": len(recent),
                "asked": int(known.sum()),
                "log_loss": table["log_loss"],
                "top1": table["top1"],
            }
        )
    return rows

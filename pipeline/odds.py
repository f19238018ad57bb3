"""How likely each cause is: by the model in use, or, where none is trained, by word lists and jobs on record."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.visit_plan import NONE_OF_THESE

if TYPE_CHECKING:
    from pipeline.database import Database
    from pipeline.evidence import Evidence
    from pipeline.question import Question
    from pipeline.trade import Trade

LISTED_JOBS = 20.0  # jobs that the word lists' shares are worth (common practice, no source)
STRANGE = 0.05  # chance of a cause no list names (common practice, no source)


@dataclass(frozen=True)
class Odds:
    """Causes and their probabilities, most likely first, and where they come from.

    Attributes
    ----------
    causes
        Cause → probability; with ``none_of_these`` they sum to 1.
    none_of_these
        Probability of a cause not met before.
    model
        Name of the model in use; None = word lists and counts only.
    note
        Plain words when the question lies outside what was learned.
    """

    causes: Mapping[str, float]
    none_of_these: float
    model: str | None
    note: str | None

    def as_dict(self) -> dict[str, float]:
        """Causes and "none of these" together."""
        return {**self.causes, NONE_OF_THESE: self.none_of_these}


def odds_of(question: Question, trade: Trade, evidence: Evidence, model: Any, name: str | None) -> Odds:
    """Odds of the causes of one call.

    Parameters
    ----------
    question, trade, evidence
        What is asked, the kind's word lists, the workshop's records.
    model, name
        The stored model and its name; None = none trained.
    """
    if model is None:
        causes, strange, note = _from_lists(question, trade, evidence), STRANGE, None
        told: Mapping[str, str] = question.findings
    else:
        causes, strange, note = _from_model(question, model)
        told = {f: v for f, v in question.findings.items() if not _knows(model, f, v)}
    causes = _updated(causes, told, trade, evidence)
    total = sum(causes.values()) or 1.0
    scaled = {cause: p / total * (1 - strange) for cause, p in causes.items()}
    return Odds(dict(sorted(scaled.items(), key=lambda row: (-row[1], row[0]))), strange, name, note)


def stored_model(database: Database) -> tuple[Any, str | None]:
    """Return the model in use and its name, or (None, None) when none is trained."""
    from pipeline.learning import current_model

    model = current_model(database)
    return (None, None) if model is None else (model, str(model.card.get("model", "model")))


def _from_model(question: Question, model: Any) -> tuple[dict[str, float], float, str | None]:
    from models.evidence import outside_note
    from models.features import question as one_row

    asked = one_row(
        kind=question.kind,
        make=question.make,
        model_family=question.model_family,
        age_years=question.age_years,
        symptoms=question.symptoms,
        codes=question.codes,
        findings=question.findings,
        known_columns=[column.name for column in model.columns],
    )
    p = model.predict_proba(asked)[0]
    causes = {str(cause): float(chance) for cause, chance in zip(model.classes_, p, strict=True)}
    return causes, float(model.none_of_these(asked)[0]), outside_note(model, asked)


def _knows(model: Any, finding: str, value: str) -> bool:
    """Whether the model learned from this very finding; if not, the word lists' expectation speaks for it."""
    return any(column.name == f"finding: {finding}" and value in column.values for column in model.columns)


def _from_lists(question: Question, trade: Trade, evidence: Evidence) -> dict[str, float]:
    """Word lists' shares within the complaints asked about, as so many jobs beside those on record."""
    asked = [s for s in question.symptoms if s in trade.shares] or list(trade.shares)
    weights: dict[str, float] = {}
    for symptom in asked:
        total = sum(trade.shares[symptom].values()) or 1.0
        for cause, share in trade.shares[symptom].items():
            weights[cause] = weights.get(cause, 0.0) + LISTED_JOBS * share / total / len(asked)
    on_record = evidence.same_complaint_jobs if question.symptoms or question.codes else evidence.cause_jobs
    for cause, jobs in on_record.items():
        weights[cause] = weights.get(cause, 0.0) + jobs
    return weights


def _updated(
    causes: Mapping[str, float], told: Mapping[str, str], trade: Trade, evidence: Evidence
) -> dict[str, float]:
    from models.likelihood import learn

    updated = dict(causes)
    cards = {card.finding: card for card in trade.checks}
    likelihoods = learn(evidence.findings, trade.expected)
    for finding, value in told.items():
        card = cards.get(finding)
        if card is None or value not in card.values:
            continue
        column = likelihoods.of(finding, card.values, list(updated))[:, card.values.index(value)]
        updated = {cause: p * chance for (cause, p), chance in zip(updated.items(), column, strict=True)}
    return updated

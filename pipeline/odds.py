"""How likely each cause is: by the model in use, or, where none is trained, by word lists and jobs on record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.costs import NONE_OF_THESE

if TYPE_CHECKING:
    from models.likelihood import Likelihoods
    from pipeline.database import Database
    from pipeline.evidence import Evidence
    from pipeline.question import Question
    from pipeline.trade import Trade

LISTED_JOBS = 30.0  # jobs that the word lists' shares are worth (common practice, no source)
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


Opinion = tuple[dict[str, float], float, str | None]  # cause → probability; none of these; plain words of doubt


def odds_of(
    question: Question, trade: Trade, evidence: Evidence, model: Any, name: str | None, told: Opinion | None = None
) -> Odds:
    """Odds of the causes of one call.

    Parameters
    ----------
    question, trade, evidence
        What is asked, the kind's word lists, the workshop's records.
    model, name
        The stored model and its name; None = none trained.
    told
        What the model says, when already asked; see `opinions`.
    """
    likelihoods = evidence.of_kind.likelihoods
    listed = _updated(_listed(question, trade), question.findings, trade, likelihoods)
    if model is None:
        on_record = evidence.same_complaint_jobs if question.symptoms or question.codes else evidence.of_kind.cause_jobs
        said = _updated(on_record, question.findings, trade, likelihoods)
        strange, note, jobs = STRANGE, None, float(sum(on_record.values()))
    else:
        causes, strange, note = told or opinions([question], model)[0]
        new = {f: v for f, v in question.findings.items() if not _knows(model, f, v)}
        said, jobs = _updated(causes, new, trade, likelihoods), float(sum(evidence.same_complaint_jobs.values()))
    of_kind = {**trade.repairs, **evidence.of_kind.cause_jobs}
    mixed = _mixed({cause: p for cause, p in said.items() if cause in of_kind}, listed, jobs)
    strange = strange if mixed else 1.0
    scaled = {cause: p * (1 - strange) for cause, p in mixed.items()}
    return Odds(dict(sorted(scaled.items(), key=lambda row: (-row[1], row[0]))), strange, name, note)


def stored_model(database: Database) -> tuple[Any, str | None]:
    """Return the model in use and its name, or (None, None) when none is trained."""
    from pipeline.learning import current_model

    model = current_model(database)
    return (None, None) if model is None else (model, str(model.card.get("model", "model")))


def opinions(questions: Sequence[Question], model: Any) -> list[Opinion]:
    """What the model says of each question, all asked at once."""
    from models.evidence import outside_note
    from models.features import questions as rows_of

    asked = rows_of(
        [
            {
                "kind": question.kind,
                "make": question.make,
                "model_family": question.model_family,
                "age_years": question.age_years,
                "symptoms": question.symptoms,
                "codes": question.codes,
                "findings": question.findings,
            }
            for question in questions
        ],
        known_columns=[column.name for column in model.columns],
    )
    names, chances, none = (
        [str(cause) for cause in model.classes_],
        model.predict_proba(asked),
        model.none_of_these(asked),
    )
    return [
        (
            dict(zip(names, chances[row].tolist(), strict=True)),
            float(none[row]),
            outside_note(model, asked.iloc[[row]]),
        )
        for row in range(len(questions))
    ]


def _knows(model: Any, finding: str, value: str) -> bool:
    """Whether the model learned from this very finding; if not, the word lists' expectation speaks for it."""
    return any(column.name == f"finding: {finding}" and value in column.values for column in model.columns)


def _listed(question: Question, trade: Trade) -> dict[str, float]:
    """Shares the word lists give the complaints asked about; none where they know none of them."""
    asked = [s for s in question.symptoms if s in trade.shares] if question.symptoms else list(trade.shares)
    shares: dict[str, float] = {}
    for symptom in asked:
        total = sum(trade.shares[symptom].values()) or 1.0
        for cause, share in trade.shares[symptom].items():
            shares[cause] = shares.get(cause, 0.0) + share / total / len(asked)
    return shares


def _mixed(told: Mapping[str, float], listed: Mapping[str, float], jobs: float) -> dict[str, float]:
    """What the records tell and what the word lists tell, each by the jobs it is worth: few jobs lean on the lists."""
    weights = [
        (told, jobs if sum(told.values()) > 0 else 0.0),
        (listed, LISTED_JOBS if sum(listed.values()) > 0 else 0.0),
    ]
    if sum(weight for _, weight in weights) == 0:
        weights = [(told, 1.0)]
    mixed: dict[str, float] = {}
    for odds, weight in weights:
        total = sum(odds.values())
        for cause, p in odds.items():
            mixed[cause] = mixed.get(cause, 0.0) + (weight * p / total if total > 0 else 0.0)
    total = sum(mixed.values())
    return {cause: p / total for cause, p in mixed.items()} if total > 0 else mixed


def _updated(
    causes: Mapping[str, float], told: Mapping[str, str], trade: Trade, likelihoods: Likelihoods
) -> dict[str, float]:
    """Odds after what was seen, by the chance of each finding under each cause."""
    updated = {cause: float(p) for cause, p in causes.items()}
    cards = {card.finding: card for card in trade.checks}
    for finding, value in told.items():
        card = cards.get(finding)
        if card is None or value not in card.values or not updated:
            continue
        column = likelihoods.of(finding, card.values, list(updated))[:, card.values.index(value)]
        updated = {cause: p * float(chance) for (cause, p), chance in zip(updated.items(), column, strict=True)}
    return updated

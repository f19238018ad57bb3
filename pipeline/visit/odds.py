"""How likely each cause is: by the model in use, or, where none is trained, by the word lists and jobs on record."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from pipeline.store.cache import while_unchanged
from pipeline.words.burnt import burnt, put_right
from pipeline.words.variants import is_ruled_out

if TYPE_CHECKING:
    from models.causes.model import CauseModel
    from pipeline.call.question import Question
    from pipeline.store.database import Database
    from pipeline.visit.similar_jobs import Evidence
    from pipeline.words import Words
    from pipeline.words.appliance import Trade

SMALLEST_SHOWN = 0.1  # least odds of the causes that a decisive reading shows, before the reading
MISREAD = 0.02  # chance that a decisive reading came about without its cause (common practice, no source)
NEWLY_PLACED = 0.8  # odds of all causes that come of setting up, just after it (common practice, no source)
SEEN_OTHERWISE = 0.1  # what is left of one when a check that shows it was found normal (common practice, no source)
SURELY = 0.97  # chance of what a cause shows from which on it always shows it (common practice, no source)
ENOUGH_MET = 3  # cured jobs like a call from which on a cause is held to bring its complaint, whatever the lists say
MOST_JOBS = 2000  # newest, that correct the lists where no model is trained


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
        Name of the model in use; None = none is trained: word lists corrected by the jobs on record.
    note
        Plain words when the question lies outside what was learned.
    width
        How far probabilities may be off, as :mod:`models.causes.uncertainty` learned it; None = not learned.
    """

    causes: Mapping[str, float]
    none_of_these: float
    model: str | None
    note: str | None
    width: Any = None


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
        The model and its name; see `model_for`.
    told
        What the model says, when already asked; see `opinions`.
    """
    causes, strange, note = told or opinions([question], model)[0]
    of_kind = {**trade.repairs, **evidence.of_kind.cause_jobs}
    kept = {
        cause: p * (MISREAD if _is_out(cause, trade, question) else 1.0)
        for cause, p in causes.items()
        if cause in of_kind
    }
    kept = _weighed(kept, question, trade, evidence, model)
    total = sum(kept.values())
    strange = strange if total else 1.0
    met = {cause for cause, jobs in evidence.similar_jobs.items() if jobs >= ENOUGH_MET}
    kept, strange = _brought(kept, strange, trade, question.symptoms, met)
    for reading in sorted(trade.decisive & set(question.findings.items())):
        kept, strange = _believed(kept, strange, trade, reading)
    if what := burnt(question.findings):
        kept, strange = _put_right(kept, strange, frozenset().union(*(put_right(trade, one) for one in what)))
    total = sum(kept.values())
    if question.is_newly_placed and total:
        kept = _installation_first({cause: p / total for cause, p in kept.items()}, trade, question)
        total = sum(kept.values())
    scaled = {cause: p / total * (1 - strange) for cause, p in kept.items()}
    order = sorted(scaled.items(), key=lambda row: (-row[1], row[0]))
    return Odds(dict(order), strange, name, note if name else None, model.width)


def _weighed(
    causes: dict[str, float], question: Question, trade: Trade, evidence: Evidence, model: CauseModel
) -> dict[str, float]:
    """Odds once findings that no job of the model showed are weighed by the word lists."""
    from models.causes.features import FINDING

    cards = [card for card in trade.checks if card.finding in question.findings]
    if not cards:
        return causes
    known = {column.name: column.values for column in model.columns}
    total = sum(causes.values())
    for card in cards:
        value = question.findings[card.finding]
        if value in card.values and value not in known.get(FINDING + card.finding, ()):
            chances = evidence.of_kind.likelihoods.of(card.finding, card.values, list(causes))
            told = chances[:, card.values.index(value)]
            causes = {cause: p * float(chance) for (cause, p), chance in zip(causes.items(), told, strict=True)}
    scale = total / (sum(causes.values()) or 1.0)
    return {cause: p * scale for cause, p in causes.items()}


def _is_out(cause: str, trade: Trade, question: Question) -> bool:
    is_seen_otherwise = question.findings.get(cause) == "no"  # a look at what a cause of own words names
    return (
        is_seen_otherwise or is_ruled_out(cause, question.cleared, trade.repairs) or _is_belied(cause, trade, question)
    )


def _is_belied(cause: str, trade: Trade, question: Question) -> bool:
    """Whether a cause never comes with what was seen: no bearing of a sealed tub is one that a kit mends."""
    stated = ((trade.stated.get((cause, name), {}), value) for name, value in question.findings.items())
    return any(p >= SURELY and other != value for chances, value in stated for other, p in chances.items())


def _believed(
    causes: dict[str, float], strange: float, trade: Trade, reading: tuple[str, str]
) -> tuple[dict[str, float], float]:
    """Odds once a decisive reading is believed: what it does not follow from counts as little as a misreading."""
    finding, value = reading
    shown = {cause for cause in trade.repairs if trade.stated.get((cause, finding), {}).get(value, 0.0) >= 0.5}
    return _put_right(causes, strange, shown) if shown else (causes, strange)


def _put_right(causes: dict[str, float], strange: float, shown: Collection[str]) -> tuple[dict[str, float], float]:
    """Odds once it is sure that one of some causes must be put right; where none is listed, it is none of these."""
    if not shown:
        return {cause: p * MISREAD for cause, p in causes.items()}, 1 - MISREAD
    total = sum(causes.values()) or 1.0
    least = SMALLEST_SHOWN / len(shown)
    told = {cause: max(causes.get(cause, 0.0) / total, least) * (1 - strange) for cause in shown}
    other = {cause: p / total * (1 - strange) * MISREAD for cause, p in causes.items() if cause not in shown}
    whole = sum(told.values()) + sum(other.values()) + strange * MISREAD
    return {cause: p / whole for cause, p in (told | other).items()}, strange * MISREAD / whole


def _installation_first(causes: dict[str, float], trade: Trade, question: Question) -> dict[str, float]:
    """Odds of an appliance just set up or moved: causes of what is complained of that come of it, before all others."""
    shares: dict[str, float] = {}
    for complaint in question.symptoms:
        for cause, share in trade.installation.get(complaint, {}).items():
            shares[cause] = max(shares.get(cause, 0.0), share * _unseen(trade, cause, question.findings))
    if not shares:
        return causes
    most = sum(shares.values()) / sum(
        sum(trade.installation[c].values()) for c in question.symptoms if c in trade.installation
    )
    before = sum(causes.get(cause, 0.0) for cause in shares)
    share_of_all = max(NEWLY_PLACED * min(most, 1.0), before)
    scaled = {cause: share / sum(shares.values()) * share_of_all for cause, share in shares.items()}
    left = (1 - share_of_all) / max(1 - before, 1e-9)
    return {cause: p * left for cause, p in causes.items() if cause not in shares} | scaled


def _unseen(trade: Trade, cause: str, findings: Mapping[str, str]) -> float:
    """What the findings leave of a cause: little when a check that would show it was found otherwise."""
    left = 1.0
    for finding, value in findings.items():
        stated = trade.stated.get((cause, finding), {})
        if stated and max(stated.values()) >= 0.5 and stated.get(value, 0.0) < 0.5:
            left *= SEEN_OTHERWISE
    return left


def _brought(
    causes: dict[str, float], strange: float, trade: Trade, symptoms: Sequence[str], met: Collection[str]
) -> tuple[dict[str, float], float]:
    """Odds where a complaint comes only of the causes listed for it: lint trips no RCD.

    Causes that the lists know and give for none of the complaints count as little as a misreading, unless ``met`` by
    this workshop in jobs like the call; those listed for the complaint keep a part of their listed share, however
    seldom the records have them.
    """
    deciding = [
        symptom for symptom in symptoms if ("complaint", symptom) in trade.decisive and trade.shares.get(symptom)
    ]
    if not deciding:
        return causes, strange
    total = sum(causes.values()) or 1.0
    bring = {cause for symptom in symptoms for cause in trade.shares.get(symptom, ())}.union(met)
    shares = {cause: share for symptom in deciding for cause, share in trade.shares[symptom].items()}
    least = SMALLEST_SHOWN / sum(shares.values())
    told = {
        cause: max(
            p / total * (MISREAD if cause in trade.repairs and cause not in bring else 1.0),
            shares.get(cause, 0.0) * least,
        )
        for cause, p in (dict.fromkeys(shares, 0.0) | causes).items()
    }
    whole = sum(told.values())
    return {cause: p / whole * (1 - strange) for cause, p in told.items()}, strange


def model_for(database: Database, words: Words) -> tuple[Any, str | None]:
    """Return the model in use and its name; where none is trained, the lists corrected by the newest jobs, and None."""
    from pipeline.train.versions import current_model

    model = current_model(database)
    if model is not None:
        return model, str(model.card.get("model", "model"))
    return while_unchanged(database, ("corrected lists", words), lambda: _corrected_lists(database, words)), None


def _corrected_lists(database: Database, words: Words) -> CauseModel:
    from models.causes.features import wide
    from models.causes.model import from_lists
    from pipeline.train.word_background import background

    newest = "select episode_id from cause_example order by cure_date desc, episode_id limit ?"
    query = f"select * from cause_example where episode_id in ({newest}) order by cure_date desc, episode_id"
    jobs = database.connection.execute(query, [MOST_JOBS]).df()
    return from_lists(wide(jobs), jobs["cause"].to_numpy(dtype=str), background(words), "kind")


def opinions(questions: Sequence[Question], model: Any, *, beside: Sequence[Question] = ()) -> list[Opinion]:
    """What the model says of each question, then of those ``beside`` them, which get no note; all asked at once."""
    from models.causes.evidence import outside_notes
    from models.causes.features import questions as rows_of
    from reports.render.wording import sentence

    if not questions:
        return []
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
                "complaint": question.complaint,
                "on": question.on,
            }
            for question in (*questions, *beside)
        ],
        known_columns=[column.name for column in model.columns],
    )
    names = [str(cause) for cause in model.classes_]
    chances, none = model.predict_proba(asked), model.none_of_these(asked)
    outside = [*outside_notes(model, asked.iloc[: len(questions)]), *[None] * len(beside)]
    return [
        (
            dict(zip(names, chances[row].tolist(), strict=True)),
            float(none[row]),
            None if what is None else sentence("answer.outside", what=what),
        )
        for row, what in enumerate(outside)
    ]

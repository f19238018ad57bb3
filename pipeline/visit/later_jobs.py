"""What quotes and chances were worth on later jobs: learned as a model is trained, kept beside it.

The model of the exam is asked about the jobs it has not seen, as a call is put before the visit: without findings, and
with the records as they stood when its jobs ended. What the quotes were off then is taken off every later quote.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from typing import TYPE_CHECKING, Any

from pipeline.call.question import Question
from pipeline.store.atomic_write import whole
from pipeline.visit.costs import Costs
from pipeline.visit.odds import odds_of, opinions
from pipeline.visit.plan import carry_list, likely
from pipeline.visit.quote import Range, quote
from pipeline.visit.similar_jobs import gather
from pipeline.words.appliance import about

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.settings import Settings
    from pipeline.store.database import Database
    from pipeline.visit.odds import Odds
    from pipeline.visit.similar_jobs import Evidence
    from pipeline.words import Words

FILE = "later_jobs.json"
MOST = 800  # jobs asked about, spread over the time that the model has not seen


@dataclass(frozen=True)
class Learned:
    """What later jobs taught.

    Attributes
    ----------
    jobs
        How many were asked about; 0 = nothing is learned.
    shifts
        Name of an amount (money, minutes) → what its P10, P50 and P90 are moved by, in log(1 + amount).
    parts_at_hand
        Intercept and slope that correct the chance that the parts carried are those a call needs.
    """

    jobs: int = 0
    shifts: Mapping[str, Sequence[float]] = field(default_factory=dict)
    parts_at_hand: tuple[float, float] = (0.0, 1.0)


@dataclass(frozen=True)
class Told:
    """What one later job was told, and what it came to."""

    quote: Mapping[str, Range]
    came_to: Mapping[str, float]
    at_hand: float
    was_at_hand: bool


def learn(database: Database, words: Words, settings: Settings, name: str) -> Learned:
    """Learn from the jobs that the exam's model has not seen, and keep it beside model ``name``."""
    from models.causes import storage
    from pipeline.train.examples import examples
    from pipeline.train.versions import EXAM, storage_folder

    folder = storage_folder(database, name)
    cut = storage.read_card(folder)["exam_learned_to"]
    jobs = examples(database)
    later = jobs[jobs["cure_date"].astype(str).str[:10] > cut]
    told = told_of(database, words, settings, storage.open_model(folder / EXAM), spread(later), cut)
    learned = learned_of(told)
    with whole(folder / FILE) as draft:
        draft.write_text(json.dumps(asdict(learned)), encoding="utf-8")
    return learned


def spread(jobs: pd.DataFrame, most: int = MOST) -> pd.DataFrame:
    """At most so many jobs, evenly spread."""
    import numpy as np

    return jobs.iloc[np.unique(np.linspace(0, len(jobs) - 1, min(most, len(jobs))).astype(int))]


def learned_of(told: Sequence[Told]) -> Learned:
    """What the jobs teach."""
    import numpy as np

    from models.plan.quote import FEWEST, learn_chances, learn_shifts

    if len(told) < FEWEST:
        return Learned()
    shifts = {
        name: learn_shifts(np.array([one.quote[name] for one in told]), np.array([one.came_to[name] for one in told]))
        for name in ("money", "minutes")  # prices of parts repeat: a small shift would pass many of them by
    }
    chances = learn_chances(np.array([one.at_hand for one in told]), np.array([one.was_at_hand for one in told]))
    return Learned(len(told), shifts, chances)


def told_of(
    database: Database, words: Words, settings: Settings, model: Any, jobs: pd.DataFrame, day: str
) -> list[Told]:
    """Ask about jobs as on a day, with the records up to it; jobs of which nothing can be said are left out."""
    rows = [{str(name): cell for name, cell in row.items()} for row in jobs.to_dict("records")]
    questions = [_question(row) for row in rows]
    if not questions:
        return []
    trades = {kind: about(words, kind) for kind in sorted({question.kind for question in questions})}
    with _records_up_to(database, day):
        found = gather(database, questions, trades)
    of_kind = {question.kind: evidence.of_kind for question, evidence in zip(questions, found, strict=True)}
    costs = {kind: Costs(trades[kind], records, settings) for kind, records in of_kind.items()}
    told = []
    for row, question, evidence, opinion in zip(rows, questions, found, opinions(questions, model), strict=True):
        odds = odds_of(question, trades[question.kind], evidence, model, None, opinion)
        if one := _told(row, costs[question.kind], evidence, odds):
            told.append(one)
    return told


def _question(row: Mapping[str, Any]) -> Question:
    text = {name: row[name] if isinstance(row[name], str) else None for name in ("make", "model_family", "complaint")}
    age = row["age_years"]
    return Question(
        str(row["kind"]),
        make=text["make"],
        model_family=text["model_family"],
        age_years=None if age is None or age != age else float(age),
        symptoms=tuple(row["symptoms"]),
        codes=tuple(row["codes"]),
        complaint=text["complaint"] or "",
    )


def _told(row: Mapping[str, Any], costs: Costs, evidence: Evidence, odds: Odds) -> Told | None:
    offered = quote(costs, evidence, odds)
    if not offered or costs.trade.is_gas:
        return None
    kept = likely(odds.causes)
    acts = costs.acts(list(kept))
    carried = {line.part for line in carry_list(kept, acts, costs) if line.worth_it}
    at_hand = sum(kept[cause] for act in acts if set(act.parts) <= carried for cause in act.cures)
    cause = str(row["cause"])
    was_at_hand = not costs.trade.is_licensed(cause) and set(costs.repair(cause).parts) <= carried
    minutes, charge, parts = (_number(row[name]) for name in ("labour_minutes", "labour_charge", "parts_cost"))
    labour = charge if charge == charge else minutes * costs.rate
    money = labour + (parts if parts == parts else 0.0)
    return Told(offered, {"money": money, "minutes": minutes, "parts": parts}, min(at_hand, 1.0), was_at_hand)


def _number(cell: Any) -> float:
    """Number of a cell; NaN = not known."""
    return float(str(cell)) if str(cell) not in ("None", "<NA>", "NaT") else float("nan")


@contextmanager
def _records_up_to(database: Database, day: str) -> Iterator[None]:
    """Hide from this connection what was cured or visited after a day."""
    connection = database.connection
    (catalog,) = connection.execute("select current_database()").fetchone() or ("",)
    hidden = {
        "cause_example": "cure_date",
        "stage_visit": "visit_date",
        "visit": "visit_date",
        "episode": "last_visit_date",
    }
    database.records_up_to = day
    try:
        for table, column in hidden.items():
            connection.execute(
                f"create temp view {table} as select * from \"{catalog}\".main.{table} where {column} <= date '{day}'"
            )
        yield
    finally:
        database.records_up_to = None
        for table in hidden:
            connection.execute(f"drop view if exists temp.{table}")


def kept(database: Database) -> Learned:
    """What is kept beside the model in use; nothing learned where there is none, or it cannot be read."""
    from pipeline.train.versions import name_in_use, storage_folder

    name = name_in_use(database)
    if name is None:
        return Learned()
    try:
        read = json.loads((storage_folder(database, name) / FILE).read_text(encoding="utf-8"))
        shifts = {str(amount): [float(x) for x in moved] for amount, moved in read["shifts"].items()}
        intercept, slope = (float(x) for x in read["parts_at_hand"])
        return Learned(int(read["jobs"]), shifts, (intercept, slope))
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return Learned()

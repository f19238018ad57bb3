"""Phrases that past jobs give a meaning: found again at each training, kept beside the models, quoted in answers."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from pipeline.store.atomic_write import whole
from reports.render.wording import Sentence, Written, sentence

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence

    import pandas as pd

    from pipeline.store.database import Database

FILE = "phrases.json"
MOST_QUOTED = 2


@dataclass(frozen=True)
class Phrase:
    """Of ``jobs`` past jobs of the kind whose complaint says ``phrase``, ``count`` were ``cause``.

    ``expected`` is the share to expect of the same kind and complaints; ``low`` and ``high`` bound count / jobs (95 %).
    """

    kind: str
    phrase: str
    jobs: int
    cause: str
    count: int
    expected: float
    low: float
    high: float

    def line(self) -> Sentence:
        """Say it with its numbers."""
        chances = {"low": float(self.low), "high": float(self.high), "expected": float(self.expected)}
        phrase = Written(self.phrase)
        return sentence("answer.phrase", phrase=phrase, count=self.count, jobs=self.jobs, cause=self.cause, **chances)

    def as_json(self) -> dict[str, Any]:
        """The phrase and its numbers."""
        return {
            **asdict(self),
            "expected": round(self.expected, 4),
            "low": round(self.low, 4),
            "high": round(self.high, 4),
        }


def keep(database: Database, jobs: pd.DataFrame, filler: Collection[str]) -> int:
    """Find the phrases of cured jobs and keep them beside the models; returns how many."""
    from models.causes.phrases import find_phrases

    rows = find_phrases(jobs, filler).to_dict("records")
    folder = database.folder_of_models
    folder.mkdir(parents=True, exist_ok=True)
    with whole(folder / FILE) as draft:
        draft.write_text(json.dumps(rows, ensure_ascii=False, indent=1), encoding="utf-8")
    return len(rows)


def kept(database: Database) -> list[Phrase]:
    """Phrases kept at the last training, the strongest first; none where nothing was kept or the file is damaged."""
    try:
        rows = json.loads((database.folder_of_models / FILE).read_text(encoding="utf-8"))
        return [Phrase(**row) for row in rows]
    except (OSError, ValueError, TypeError):
        return []


def said_in(rows: Sequence[Phrase], kind: str, complaint: str, filler: Collection[str]) -> tuple[Phrase, ...]:
    """Phrases that a complaint says, the strongest first, none within another; at most `MOST_QUOTED`."""
    from models.causes.phrases import runs_of

    runs = runs_of(complaint, filler) if rows and complaint else set()
    said: list[Phrase] = []
    for row in rows:
        inside = any(row.phrase in other.phrase or other.phrase in row.phrase for other in said)
        if row.kind == kind and row.phrase in runs and not inside:
            said.append(row)
    return tuple(said[:MOST_QUOTED])

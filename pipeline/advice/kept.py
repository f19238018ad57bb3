"""The advice rows kept beside the models, so that an answer can quote them without searching anew."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from pipeline.store.atomic_write import whole
from reports.render.wording import Sentence, sentence

if TYPE_CHECKING:
    from pipeline.store.database import Database
    from pipeline.words import Words

FILE = "advice.json"
NOT_RECORDED = " not recorded"


@dataclass(frozen=True)
class AdviceRow:
    """One row: of ``of`` fitted in these conditions, ``count`` were not the cause (conditions None = any).

    ``finding`` is "finding=value" or "finding not recorded"; ``cautions`` are the full texts for what to look at first.
    """

    part: str
    kinds: tuple[str, ...]
    make: str | None
    complaint: str | None
    code: str | None
    finding: str | None
    count: int
    of: int
    money: float
    look_first: str
    cautions: tuple[str, ...]

    def line(self) -> Sentence:
        """Say it with its numbers."""
        return sentence("answer.advice", part=self.part, count=self.count, of=self.of, look=self.look_first)


def keep(database: Database, words: Words) -> int:
    """Search for advice and keep the rows beside the models; returns how many."""
    from pipeline.advice.find import advice

    rows = [_row(row) for row in advice(database.connection, words).to_dict("records")]
    folder = database.folder_of_models
    folder.mkdir(parents=True, exist_ok=True)
    with whole(folder / FILE) as draft:
        draft.write_text(json.dumps([asdict(row) for row in rows], ensure_ascii=False, indent=1), encoding="utf-8")
    return len(rows)


def _row(row: Any) -> AdviceRow:
    given = {name: None if row[name] is None or row[name] != row[name] else str(row[name]) for name in _CONDITIONS}
    return AdviceRow(
        part=str(row["part"]),
        kinds=tuple(row["kinds"]),
        count=int(row["count"]),
        of=int(row["of"]),
        money=float(row["money"]),
        look_first=str(row["look_first"]),
        cautions=tuple(row["cautions"]),
        **given,
    )


_CONDITIONS = ("make", "complaint", "code", "finding")


def kept(database: Database) -> list[AdviceRow]:
    """Rows kept at the last training, worth most first; none where nothing was kept or the file is damaged."""
    path = database.folder_of_models / FILE
    try:
        told = json.loads(path.read_text(encoding="utf-8"))
        return [AdviceRow(**{**row, "kinds": tuple(row["kinds"]), "cautions": tuple(row["cautions"])}) for row in told]
    except (OSError, ValueError, TypeError, KeyError):
        return []

"""Which columns of an unknown export are which fields? A proposal from headers and values, with its confidence."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from pipeline.load.layout import FIELDS, PART_FIELDS, Layout, Rule, open_layout, shipped
from pipeline.load.mapping import cell
from pipeline.read.incoming import plain_name
from pipeline.store.batches import frame
from pipeline.values import ages, dates, durations, money
from pipeline.values.distinct import plain

if TYPE_CHECKING:
    import duckdb
    import pandas as pd

    from pipeline.words import Words

SAMPLE = 2_000  # lines looked at
SHOWN_SAMPLES = 3
LEAST_CONFIDENCE = 0.35  # below this a column is left unmapped; chosen by hand, no source
HEADER_SHARE = 0.55  # weight of the header against the values
TELLING_HEADER = 0.6  # a header that names a field this well
VALUES_ALONE = 0.6  # what values without a telling header can reach


@dataclass(frozen=True)
class Guess:
    """One column taken for one field."""

    field: str
    column: str
    confidence: float
    samples: tuple[str, ...]


@dataclass(frozen=True)
class Proposal:
    """A guessed layout and why.

    Attributes
    ----------
    layout
        Ready to use or to save.
    guesses
        One a mapped column, the surest first.
    left
        Columns that stay as they are, in other_columns.
    """

    layout: Layout
    guesses: tuple[Guess, ...]
    left: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Plain form for scripts."""
        return {
            "grain": self.layout.grain,
            "columns": [
                {"field": g.field, "column": g.column, "confidence": g.confidence, "samples": list(g.samples)}
                for g in self.guesses
            ],
            "not_mapped": list(self.left),
            "kept_hashed": list(self.layout.personal),
        }


@cache
def _header_names() -> dict[str, tuple[str, ...]]:
    text = (files(__package__) / "layouts" / "header_names.json").read_text(encoding="utf-8")
    return {name: tuple(plain_name(n) for n in names) for name, names in json.loads(text).items()}


@cache
def known_names() -> frozenset[str]:
    """Every column name that says something: of the shipped layouts and of exports met elsewhere."""
    names = {name for found in _header_names().values() for name in found}
    return frozenset(names.union(*(open_layout(name).names() for name in shipped())))


def shipped_layout(header: tuple[str, ...]) -> Layout | None:
    """Return the shipped layout that this header is made for: all it needs is there under the very names, most used."""
    best: tuple[float, Layout] | None = None
    for name in shipped():
        layout = open_layout(name)
        named = layout.names() & {plain_name(h) for h in header}
        share = len(named) / len(header)
        if not layout.missing(header) and share >= 0.5 and (best is None or share > best[0]):
            best = (share, layout)
    return best[1] if best else None


def guess_layout(connection: duckdb.DuckDBPyConnection, words: Words, header: tuple[str, ...], name: str) -> Proposal:
    """Propose a layout for the table ``incoming``.

    Each column is scored for each field by its header (synonyms) and its values (shape, and words the lists know); the
    best pairs are taken, the surest first, one column a field.
    """
    from pipeline.load.personal_headers import is_personal
    from pipeline.load.privacy import mask_contacts

    samples = _samples(connection, header)
    scores = sorted(
        (
            (-score, i, f)
            for i, column in enumerate(header)
            for f in (*FIELDS, *PART_FIELDS)
            if (score := _score(column, samples[i], f, words)) >= LEAST_CONFIDENCE
        ),
        key=lambda item: (item[0], item[1], (*FIELDS, *PART_FIELDS).index(item[2])),
    )
    taken: dict[str, tuple[int, float]] = {}
    for negative, i, f in scores:
        if f not in taken and i not in {at for at, _ in taken.values()}:
            taken[f] = (i, -negative)
    grain = _grain(samples, taken)
    mapped = {at for at, _ in taken.values()}
    left = tuple(column for i, column in enumerate(header) if i not in mapped)
    layout = Layout(
        name=name,
        grain=grain,
        columns={f: (Rule(header[taken[f][0]]),) for f in (*FIELDS, *PART_FIELDS) if f in taken},
        personal=tuple(column for column in left if is_personal(column)),
    )
    guesses = []
    for f, (i, score) in taken.items():
        shown = (
            ["…"] if f == "customer_ref" else mask_contacts(samples[i].drop_duplicates().head(SHOWN_SAMPLES)).tolist()
        )
        guesses.append(Guess(f, header[i], round(score, 2), tuple(shown)))
    return Proposal(layout, tuple(guesses), left)


def _samples(connection: duckdb.DuckDBPyConnection, header: tuple[str, ...]) -> list[pd.Series[str]]:
    cells = ", ".join(f"{cell(header, name)} as c{i + 1}" for i, name in enumerate(header))
    held = frame(connection, f"select {cells} from incoming order by line_no limit {SAMPLE}")
    return [held[f"c{i + 1}"].dropna() for i in range(len(header))]


def _score(column: str, written: pd.Series[str], f: str, words: Words) -> float:
    header = _header_score(column, f)
    if written.empty:
        return header * HEADER_SHARE
    if header == 0 and (f not in TELLING or _is_named(column)):
        return 0.0
    values = _value_score(written.head(300), f, words)
    if header == 0:
        return VALUES_ALONE * values if values >= TELLING[f] else 0.0
    score = HEADER_SHARE * header + (1 - HEADER_SHARE) * values
    return score * 0.4 if values < 0.1 and f in TYPED else score


def _is_named(column: str) -> bool:
    """Tell whether the header names some field well: then values alone do not make it another."""
    return max(_header_score(column, f) for f in (*FIELDS, *PART_FIELDS)) >= TELLING_HEADER


def _header_score(column: str, f: str) -> float:
    if not CURRENCY.search(column):
        return _name_score(plain_name(column), f)
    if f not in MONEY:
        return 0.0
    return max(_name_score(plain_name(CURRENCY.sub(f" {word} ", column)), f) for word in ("", "cost"))


def _name_score(name: str, f: str) -> float:
    names = _header_names()[f]
    if name == plain_name(f):
        return 1.0
    if name in names:
        return 0.98 - 0.3 * names.index(name) / len(names)
    given = set(name.split())
    shares = [len(set(n.split())) / len(given) for n in names if given and set(n.split()) <= given]
    return 0.7 * max(shares, default=0.0)


# A header with a currency in it names an amount: "spares £" is what the spares cost.
CURRENCY = re.compile(r"[£$€]|\b(?:GBP|EUR|USD|CHF)\b", re.IGNORECASE)
MONEY = frozenset(("labour_charge", "parts_cost", "part_unit_cost"))

# Fields that values alone can tell, and the share of values that must agree.
TELLING = {"visit_date": 0.9, "appliance_kind": 0.6, "outcome": 0.6, "complaint": 0.4, "cause": 0.6, "parts": 0.6}


# Fields whose values have a form: a column of another form is not theirs, whatever its header says.
TYPED = frozenset(
    ("visit_date", "age", "minutes", "labour_charge", "parts_cost", "part_quantity", "part_unit_cost", "fault_code")
)


def _value_score(written: pd.Series[str], f: str, words: Words) -> float:
    return _VALUE_SCORES[f](written, words)


def _known(list_name: str) -> Callable[[pd.Series[str], Words], float]:
    def share(written: pd.Series[str], words: Words) -> float:
        return float(words.match(list_name, written.reset_index(drop=True))["is_understood"].astype(bool).mean())

    return share


def _dates(written: pd.Series[str], _: Words) -> float:
    problems = dates.read_values([plain(w) for w in written], [1] * len(written), None)[1]
    plausible = [p is None or p.startswith("may be") for p in problems]
    numbers = written.str.fullmatch(r"[0-9]+").mean()
    return float(sum(plausible) / len(plausible)) * (0.5 if numbers > 0.5 else 1.0)


def _ages(written: pd.Series[str], _: Words) -> float:
    import pandas as pd

    on = pd.Series(pd.Timestamp("2030-01-01"), index=written.index)
    return float(ages.parse(written, on)["value"].notna().mean())


def _money(written: pd.Series[str], _: Words) -> float:
    return float(money.parse(written)["value"].notna().mean())


def _minutes(written: pd.Series[str], _: Words) -> float:
    return float(durations.parse(written)["value"].notna().mean())


def _text(written: pd.Series[str], _: Words) -> float:
    return float((written.str.count(" ") >= 1).mean())


def _complaint(written: pd.Series[str], words: Words) -> float:
    texts = written.reset_index(drop=True)
    found = words.find_symptoms(texts, texts.where(texts.isna()))
    return max(float(found["row"].nunique() / len(texts)), 0.6 * _text(written, words))


def _parts(written: pd.Series[str], words: Words) -> float:
    from pipeline.values import parts_line

    split = parts_line.split(written.reset_index(drop=True))
    return _known("part")(split["part_text"], words) if len(split) else 0.3


def _code(written: pd.Series[str], _: Words) -> float:
    is_short = (written.str.len() <= 12) & written.str.contains("[0-9]")
    return float(is_short.mean())


def _name(written: pd.Series[str], _: Words) -> float:
    few = 1 - written.nunique() / max(len(written), 1)
    return float((written.str.len() <= 30).mean()) * (0.4 + 0.6 * few)


def _identifier(written: pd.Series[str], _: Words) -> float:
    is_like = (written.str.len() <= 40) & (written.str.count(" ") <= 3)
    return float(is_like.mean())


_VALUE_SCORES: dict[str, Callable[[pd.Series[str], Words], float]] = {
    "visit_date": _dates, "appliance_kind": _known("kind"), "job_no": _identifier, "customer_ref": _identifier,
    "make": _name, "model": _identifier, "serial": _identifier, "age": _ages, "complaint": _complaint,
    "fault_code": _code, "findings": _text, "cause": _known("cause"), "work_done": _text, "parts": _parts,
    "outcome": _known("outcome"), "technician": _name, "minutes": _minutes, "labour_charge": _money,
    "parts_cost": _money, "callback_of": _identifier, "part": _parts, "part_quantity": _money, "part_unit_cost": _money,
}  # fmt: skip


def _grain(samples: list[pd.Series[str]], taken: dict[str, tuple[int, float]]) -> str:
    """Say "part" where there is a column for one part and lines repeat a job and day with different parts."""
    if "part" not in taken or "visit_date" not in taken:
        return "visit"
    if "part_quantity" in taken or "part_unit_cost" in taken:
        return "part"
    keys = [samples[taken[f][0]] for f in ("job_no", "serial") if f in taken][:1]
    if not keys:
        return "visit"
    repeated = keys[0].duplicated(keep=False)
    return "part" if repeated.mean() > 0.1 else "visit"


def choose_layout(
    connection: duckdb.DuckDBPyConnection, words: Words, header: tuple[str, ...], name: str
) -> tuple[Layout, Proposal | None]:
    """Choose a shipped layout that fits, else a guessed one, for the table ``incoming``."""
    found = shipped_layout(header)
    if found is not None:
        return found, None
    proposal = guess_layout(connection, words, header, name)
    return proposal.layout, proposal

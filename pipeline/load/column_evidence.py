"""How well a column of an unknown export fits a field, by its name and by what stands in it."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import files
from typing import TYPE_CHECKING

from pipeline.load.layout import FIELDS, PART_FIELDS
from pipeline.load.layout_file import open_layout, shipped
from pipeline.read.incoming import plain_name
from pipeline.values import ages, dates, durations, money
from pipeline.values.distinct import plain

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.words import Words

ALL_FIELDS = (*FIELDS, *PART_FIELDS)
LOOKED_AT = 300  # values of a column that words are looked up for
HEADER_SHARE = 0.55  # weight of the header against the values
TELLING_HEADER = 0.6  # a header that names a field this well
VALUES_ALONE = 0.6  # what values without a telling header can reach
FOREIGN = 0.1  # values that fit a field no better than this are not its values, whatever the header says
FOREIGN_LEFT = 0.4  # of the score of such a column

# A header with a currency in it names an amount: "spares £" is what the spares cost.
CURRENCY = re.compile(r"[£$€]|\b(?:GBP|EUR|USD|CHF)\b", re.IGNORECASE)
MONEY = frozenset(("labour_charge", "parts_cost", "part_unit_cost"))

# Fields that values alone can tell, and the share of values that must agree.
TELLING = {
    "visit_date": 0.9, "appliance_kind": 0.6, "outcome": 0.6, "complaint": 0.4, "cause": 0.6, "parts": 0.6,
    "job_no": 0.9,
}  # fmt: skip

# A day that names another event in the life of a job than the visit.
ANOTHER_DAY = re.compile(
    r"\b(?:created?|book(?:ed|ing)|logged|open(?:ed)?|received|entered|reported|raised|order(?:ed)?|invoiced?|billed|due|"
    r"paid|payment|printed|modified|updated|closed|delivery|dispatch|request(?:ed)?|angelegt|erfasst|erstellt|eingang|"
    r"gemeldet|bestellt|bestelldatum|rechnung|rechnungsdatum|fällig|bezahlt|auftragsdatum|erfassungsdatum|"
    r"eingangsdatum|annahme|annahmedatum|meldedatum)\b"
)
TIME_OF_DAY = r"(?i)^[0-9]{1,2}:[0-9]{2}(?::[0-9]{2})?(?: ?[ap]\.?m\.?)?$"
OPEN = frozenset(("appliance_kind", "make", "outcome", "cause", "parts", "part"))  # a workshop has its own words
WORK = re.compile(
    r"(?i)\b(?:fit(?:ted)?|replaced?|renewed|cleaned|cleared|repaired|adjusted|removed|tested|unblocked|swapped|"
    r"installed|reset|tightened|ersetzt|getauscht|gereinigt|erneuert|repariert|eingebaut|ausgetauscht|entfernt)\b"
)


@dataclass(frozen=True)
class Column:
    """One column of the lines looked at: its name, its values in the order of the lines, blanks left out, its list."""

    name: str
    written: pd.Series[str]
    of_list: str | None = None

    @property
    def title(self) -> str:
        """The name as a field would be called: "parts.name", of a list of parts, is a part's name."""
        if self.of_list is None or not self.name.startswith(f"{self.of_list}."):
            return self.name
        return f"{self.of_list.split('.')[-1].removesuffix('s')} {self.name.removeprefix(self.of_list)}"

    @cached_property
    def first(self) -> pd.Series[str]:
        """The first values, for what is dear to look up."""
        return self.written.head(LOOKED_AT).reset_index(drop=True)

    @cached_property
    def words_a_value(self) -> float:
        """Middle number of words of a value."""
        return float((self.written.str.count(r"\s+") + 1).median()) if len(self.written) else 0.0

    @cached_property
    def share_different(self) -> float:
        """Different values to values."""
        return self.written.nunique() / max(len(self.written), 1)

    def share(self, pattern: str) -> float:
        """Share of values in which a pattern is found."""
        return float(self.written.str.contains(pattern, regex=True).mean()) if len(self.written) else 0.0

    @cached_property
    def share_dates(self) -> float:
        """Share of values that can be read as a day."""
        values = self.first
        problems = dates.read_values([plain(w) for w in values], [1] * len(values), None)[1]
        plausible = [p is None or p.startswith("may be") for p in problems]
        return float(sum(plausible) / max(len(plausible), 1)) * (0.5 if self.share(r"^[0-9]+$") > 0.5 else 1.0)

    @property
    def names_another_day(self) -> bool:
        """Whether the name says that the day is not the visit's: when the job was booked, or paid."""
        return ANOTHER_DAY.search(plain_name(self.name)) is not None


@cache
def header_names() -> dict[str, tuple[str, ...]]:
    """Return the names that columns of each field go by, the most telling first."""
    text = (files(__package__) / "layouts" / "header_names.json").read_text(encoding="utf-8")
    return {name: tuple(plain_name(n) for n in names) for name, names in json.loads(text).items()}


@cache
def known_names() -> frozenset[str]:
    """Every column name that says something: of the shipped layouts and of exports met elsewhere."""
    names = {name for found in header_names().values() for name in found}
    return frozenset(names.union(*(open_layout(name).names() for name in shipped())))


def score(column: Column, f: str, words: Words) -> tuple[float, float]:
    """Give how well a column fits a field, and how well its values do, each from 0 to 1."""
    header = header_score(column.title, f)
    if column.written.empty:
        return header * HEADER_SHARE, 0.0
    if header == 0 and (f not in TELLING or _is_named(column, words)):
        return 0.0, 0.0
    values = _VALUE_SCORES[f](column, words)
    if header == 0:
        return (VALUES_ALONE * values if values >= TELLING[f] else 0.0), values
    both = HEADER_SHARE * header + (1 - HEADER_SHARE) * values
    return (both * FOREIGN_LEFT if values < FOREIGN and f not in OPEN else both), values


def header_score(name: str, f: str) -> float:
    """Give how well a column's name names a field."""
    if not CURRENCY.search(name):
        return _name_score(plain_name(name), f)
    if f not in MONEY:
        return 0.0
    return max(_name_score(plain_name(CURRENCY.sub(f" {word} ", name)), f) for word in ("", "cost"))


def _is_named(column: Column, words: Words) -> bool:
    """Tell whether the header names some field well, and truly: then values alone do not make it another."""
    f = max(ALL_FIELDS, key=lambda f: header_score(column.title, f))
    is_named = header_score(column.title, f) >= TELLING_HEADER
    return is_named and (f in OPEN or _VALUE_SCORES[f](column, words) >= FOREIGN)


def _name_score(name: str, f: str) -> float:
    names = header_names()[f]
    if name == plain_name(f):
        return 1.0
    if name in names:
        return 0.98 - 0.3 * names.index(name) / len(names)
    given = set(name.split())
    shares = [len(set(n.split())) / len(given) for n in names if given and set(n.split()) <= given]
    return 0.7 * max(shares, default=0.0)


def _known(list_name: str) -> Callable[[Column, Words], float]:
    def share(column: Column, words: Words) -> float:
        return float(words.match(list_name, column.first)["is_understood"].astype(bool).mean())

    return share


def _dates(column: Column, _: Words) -> float:
    return column.share_dates


def _ages(column: Column, _: Words) -> float:
    import pandas as pd

    on = pd.Series(pd.Timestamp("2030-01-01"), index=column.first.index)
    return float(ages.parse(column.first, on)["value"].notna().mean())


def _money(column: Column, _: Words) -> float:
    return float(money.parse(column.first)["value"].notna().mean()) * (1 - column.share(r"^[0-9]{5,}$"))


def _minutes(column: Column, _: Words) -> float:
    return float(durations.parse(column.first)["value"].notna().mean())


def _text(column: Column, _: Words) -> float:
    return min(1.0, max(0.0, (column.words_a_value - 1) / 3)) if column.share_dates < 0.5 else 0.0


def _complaint(column: Column, words: Words) -> float:
    found = words.find_symptoms(column.first, column.first.where(column.first.isna()))
    understood = found["row"].nunique() / len(column.first)
    return max(understood, 0.6 * _text(column, words)) * (1 - 0.6 * column.share(WORK.pattern))


def _work(column: Column, words: Words) -> float:
    return max(0.6 * _text(column, words), column.share(WORK.pattern))


def _cause(column: Column, words: Words) -> float:
    return max(_known("cause")(column, words), 0.4 * (column.words_a_value <= 8 and column.share(r"[^\W\d]{4}") > 0.5))


def _parts(column: Column, words: Words) -> float:
    from pipeline.values import parts_line

    split = parts_line.split(column.first)
    return _known("part")(Column(column.name, split["part_text"]), words) if len(split) else 0.3


def _code(column: Column, _: Words) -> float:
    return float(((column.written.str.len() <= 16) & column.written.str.contains("[0-9]")).mean())


def _name(column: Column, _: Words) -> float:
    few = 1 - column.share_different
    is_short = (column.written.str.len() <= 30) & (column.written.str.count(" ") <= 2)
    return float(is_short.mean()) * (0.4 + 0.6 * few) * (1 - column.share(r"[0-9]{3}"))


def _few_names(column: Column, words: Words) -> float:
    """Names that come back on line after line: a place of work, not a place of a customer."""
    return _name(column, words) * (column.written.nunique() <= max(2, len(column.written) / 20))


def _links(column: Column, _: Words) -> float:
    """Addresses, or names of files of pictures."""
    return float(column.share(r"(?i)^https?://|\.(?:jpe?g|png|heic|webp|gif)\b"))


def _identifier(column: Column, _: Words) -> float:
    """Short, and no sentence, day, time of day or amount."""
    is_like = (column.written.str.len() <= 40) & (column.written.str.count(" ") <= 3)
    is_value = max(column.share_dates > 0.9, column.share(r"[0-9][.,][0-9]{2}$") > 0.9)
    is_time = column.share(TIME_OF_DAY) > 0.9
    return float(is_like.mean()) * (column.words_a_value <= 3) * (0.3 if is_value else 1.0) * (not is_time)


def _customer(column: Column, words: Words) -> float:
    """Identifiers; one with digits is a number, which tells two customers of one name apart."""
    return _identifier(column, words) * (0.7 + 0.3 * column.share("[0-9]"))


def _number_of_its_own(column: Column, words: Words) -> float:
    """Identifiers with digits that come back, if at all, on neighbouring lines: a number that repeats is no job's."""
    written = column.written
    runs = int((written != written.shift()).sum())
    kept_together = written.nunique() / max(runs, 1)
    alike = kept_together if kept_together > 0.5 else 0.05
    return _identifier(column, words) * (0.2 + 0.8 * column.share("[0-9]")) * alike


def _serial(column: Column, words: Words) -> float:
    has_digits = 0.2 + 0.8 * column.share("[0-9].*[0-9]")
    return _identifier(column, words) * has_digits * (0.3 + 0.7 * column.share_different)


_VALUE_SCORES: dict[str, Callable[[Column, Words], float]] = {
    "visit_date": _dates, "appliance_kind": _known("kind"), "job_no": _number_of_its_own, "customer_ref": _customer,
    "make": _name, "model": _identifier, "serial": _serial, "age": _ages, "complaint": _complaint,
    "fault_code": _code, "findings": _text, "cause": _cause, "work_done": _work, "parts": _parts,
    "outcome": _known("outcome"), "technician": _name, "minutes": _minutes, "labour_charge": _money,
    "parts_cost": _money, "callback_of": _identifier,
    "branch": _few_names, "photos": _links, "part": _parts, "part_quantity": _money, "part_unit_cost": _money,
}  # fmt: skip

"""The words, dates, numbers and money of a page in one language, from ``languages/<code>.toml``.

A catalogue entry is a sentence with named gaps, or one sentence each for ``one`` and ``other`` when it counts something
(the gap ``n`` decides). English is the reference: another language may leave entries out and English stands in.

What programs read stays English. What people read goes through `Wording.told`, which knows by its class what a text is:
a `Sentence` of the catalogue, `Several` of them, a `Finding` or the `Value` of one, text as `Written` by somebody, else
a term.
"""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from types import MappingProxyType
from typing import Any

from reports.render.plain_text import LONGEST_TEXT, plain

NO_BREAK = "\N{NO-BREAK SPACE}"
SIGNS = {"GBP": "£", "EUR": "€", "USD": "$"}


class Sentence(str):
    """An English sentence that any language's catalogue can say: ``key`` is its entry, ``gaps`` what stands in it."""

    key = ""
    gaps: Mapping[str, Any] = MappingProxyType({})


class Several(str):
    """Pieces that stand one after the other, with ``between`` between them."""

    pieces: Sequence[object] = ()
    between = ""


class Written(str):
    """Text as somebody wrote it: the same in every language."""


_OF_TERMS = ("terms", "caution_texts", "findings")


class Finding(str):
    """The name of something that can be seen or measured."""


class Value(str):
    """What was seen or measured of ``finding``."""

    finding = ""


@cache
def languages() -> list[str]:
    """List the languages there is a catalogue for."""
    folder = files("reports") / "languages"
    return sorted(entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml"))


@cache
def _catalogue(language: str) -> dict[str, Any]:
    text = (files("reports") / "languages" / f"{language}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


@cache
def _messages(language: str) -> list[tuple[re.Pattern[str], str]]:
    """English sentences of the catalogue as patterns, {} = anything, longest first; what each is in its language."""
    messages = sorted(_catalogue(language).get("messages", {}).items(), key=lambda row: -len(row[0]))
    patterns = ("(.*)".join(map(re.escape, english.split("{}"))) for english, _ in messages)
    return [(re.compile(pattern, re.DOTALL), says) for pattern, (_, says) in zip(patterns, messages, strict=True)]


@dataclass(frozen=True)
class Wording:
    """One language's way of saying things.

    Parameters
    ----------
    language
        Code of a catalogue, such as ``en``.
    currency
        ISO 4217 code of the money shown.

    Examples
    --------
    >>> Wording("en", "GBP").money(1840)
    '£1,840'
    >>> Wording("de", "EUR").money(1840).replace(NO_BREAK, " ")
    '1.840 €'
    """

    language: str = "en"
    currency: str = "GBP"

    def __post_init__(self) -> None:
        if self.language not in languages():
            raise ValueError(f"there is no catalogue for {self.language!r}; there is one for {', '.join(languages())}")

    def say(self, key: str, **gaps: object) -> str:
        """Fill one catalogue entry.

        Parameters
        ----------
        key
            ``section.name`` in the catalogue.
        **gaps
            Values of the gaps; ``n`` also chooses between one and other.

        Raises
        ------
        KeyError
            The English catalogue has no such entry.
        """
        section, _, name = key.partition(".")
        entry = _catalogue(self.language).get(section, {}).get(name)
        if entry is None:
            entry = _catalogue("en")[section][name]
        if isinstance(entry, Mapping):
            entry = entry["one"] if gaps.get("n") == 1 else entry["other"]
        shown = {gap: self.number(value) if gap == "n" else plain(value) for gap, value in gaps.items()}
        return str(entry).format(**shown)

    def section(self, name: str) -> dict[str, str]:
        """Give all plain entries of one section, English where this language has none."""
        return {
            key: text
            for key, text in {**_catalogue("en").get(name, {}), **_catalogue(self.language).get(name, {})}.items()
            if isinstance(text, str)
        }

    def tell(self, key: str, **gaps: object) -> str:
        """Fill one catalogue entry with what `told` makes of every gap; ``n`` counts."""
        return self.say(key, **{name: value if name == "n" else self.told(value) for name, value in gaps.items()})

    def told(self, value: object) -> str:
        """Give anything that is to be read in this language.

        Parameters
        ----------
        value
            A sentence, a finding, a value of one, text as written; other text is a term; a float is a share, an int a
            count; several are listed.
        """
        if isinstance(value, Sentence):
            return self.tell(value.key, **value.gaps)
        if isinstance(value, Several):
            return value.between.join(self.told(piece) for piece in value.pieces)
        if isinstance(value, Written):
            return plain(value)
        if isinstance(value, Finding):
            return self._named("findings", value) or self.term(value)
        if isinstance(value, Value):
            own = self._named("values", f"{value.finding}={value}") or self._named("values", value)
            return own or self.term(value)
        if isinstance(value, str):
            return self.term(value, LONGEST_TEXT)
        if isinstance(value, float):
            return self.percent(value)
        if isinstance(value, list | tuple):
            return ", ".join(self.told(one) for one in value)
        return self.number(value)

    def term(self, written: object, longest: int = 80) -> str:
        """Give a term or a caution in this language, or as it is written where the catalogue has no word for it.

        What is made of terms ("fit …", "… and …") is made of them in this language too.
        """
        return self._term(str(written), longest)

    @lru_cache(maxsize=20_000)  # noqa: B019 - few wordings, and equal ones share their entries
    def _term(self, text: str, longest: int) -> str:
        if known := next(filter(None, (self._named(table, text) for table in _OF_TERMS)), ""):
            return known
        for made, says in _catalogue(self.language).get("made_terms", {}).items():
            before, *between, after = made.split("{}")
            if between:
                pieces = text.split(between[0])
                for place in range(1, len(pieces)):
                    first, rest = (between[0].join(some) for some in (pieces[:place], pieces[place:]))
                    if self._named("terms", first):
                        return str(says).format(self.term(first), self.term(rest, longest))
            elif text.startswith(before) and text.endswith(after):
                return str(says).format(self.term(text.removeprefix(before).removesuffix(after), longest))
        return plain(text, longest)

    def message(self, said: object) -> str:
        """Give a fault, its remedy or a note in this language, or as it is where the catalogue has no such sentence.

        What changes in it, such as the name of a file, stays as it is written.
        """
        if isinstance(said, Sentence | Several):
            return self.told(said)
        text = str(said)
        for pattern, says in _messages(self.language):
            if found := pattern.fullmatch(text):
                return plain(says.format(*found.groups()), LONGEST_TEXT)
        return plain(text, LONGEST_TEXT)

    def _named(self, table: str, name: str) -> str:
        return str(_catalogue(self.language).get(table, {}).get(name, ""))

    def number(self, value: object, decimals: int = 0) -> str:
        """Write a number with this language's marks; a true minus sign; a missing number is a dash."""
        if value is None or value != value:
            return "–"
        marks = _catalogue(self.language)["numbers"]
        text = f"{float(str(value)):,.{decimals}f}".translate({44: "\0", 46: marks["decimal"]})
        return text.replace("\0", marks["group"]).replace("-", "\N{MINUS SIGN}")

    def percent(self, share: object, decimals: int = 0) -> str:
        """Write a share from 0 to 1 as a percentage; what is less than all is not written as all."""
        if share is None or share != share:
            return "–"
        percent = 100 * float(str(share))
        shown = min(percent, 100 - 10**-decimals) if percent < 100 else percent
        return str(_catalogue(self.language)["numbers"]["percent"]).format(self.number(shown, decimals))

    def chance(self, p: float) -> str:
        """Write a probability as a percentage; what is rare but possible is not written as never."""
        return self.tell("round.under_1", share=0.01) if 0 < p < 0.005 else self.percent(p)

    def p_value(self, p: float) -> str:
        """Write a p-value: two decimals, three below 0.1, and no more than "under 0.001"."""
        if p < 0.001:
            return str(_catalogue(self.language)["numbers"]["p_under"]).format(value=self.number(0.001, 3))
        return self.number(p, 2 if p >= 0.1 else 3)

    def money(self, amount: object) -> str:
        """Write money: whole units from 100 on, pence below."""
        if amount is None or amount != amount:
            return "–"
        value = float(str(amount))
        if value < 0:
            return f"\N{MINUS SIGN}{self.money(-value)}"
        decimals = 0 if abs(value) >= 100 or value == round(value) else 2
        pattern = str(_catalogue(self.language)["numbers"]["money"])
        text = self.number(value, decimals)
        if self.currency in SIGNS:
            return pattern.format(amount=text, symbol=SIGNS[self.currency])
        return pattern.replace("}{", f"}}{NO_BREAK}{{").format(amount=text, symbol=self.currency)

    def whole_money(self, amount: float) -> str:
        """Write money without pence, as estimates are told."""
        return self.money(float(round(amount)))

    def hours(self, minutes: object) -> str:
        """Write a length of work in hours, one decimal under ten."""
        if minutes is None or minutes != minutes:
            return "–"
        hours = float(str(minutes)) / 60
        return self.say("units.hours", amount=self.number(hours, 1 if hours < 10 else 0))

    def date(self, day: dt.date | None) -> str:
        """Write a day, such as 3 Oct 2026."""
        if day is None or day != day:
            return "–"
        dates = _catalogue(self.language)["dates"]
        return str(dates["day"]).format(day=day.day, month=dates["short"][day.month - 1], year=day.year)

    def day(self, day: dt.date) -> str:
        """Write a day with its weekday, such as Friday 27 November."""
        return f"{self.weekday(day)} {self.date(day)}"

    def weekday(self, day: dt.date) -> str:
        """Write the weekday of a day."""
        return str(_catalogue(self.language)["dates"]["weekdays"][day.weekday()])

    def stamp(self, day: dt.date) -> dict[str, str]:
        """Give a day as a leaf of a calendar: number, month, weekday."""
        return {"number": str(day.day), "month": self.month_name(day).upper(), "weekday": self.weekday(day)}

    def month(self, day: dt.date) -> str:
        """Write a month and its year, such as October 2026."""
        dates = _catalogue(self.language)["dates"]
        return str(dates["month"]).format(month=dates["long"][day.month - 1], year=day.year)

    def month_name(self, day: dt.date, *, short: bool = False) -> str:
        """Write a month without its year."""
        return str(_catalogue(self.language)["dates"]["short" if short else "long"][day.month - 1])

    def either_of(self, items: list[str]) -> str:
        """Join alternatives as speech does: a, b or c."""
        if len(items) < 2:
            return "".join(items)
        return f"{', '.join(items[:-1])} {self.say('units.or')} {items[-1]}"

    def list_of(self, items: list[str]) -> str:
        """Join words as speech does: a, b and c."""
        if len(items) < 2:
            return "".join(items)
        return f"{', '.join(items[:-1])} {self.say('units.and')} {items[-1]}"


def sentence(key: str, **gaps: object) -> Sentence:
    """Make an English sentence of the catalogue that other languages can say too.

    Parameters
    ----------
    key
        ``section.name`` in the catalogue.
    **gaps
        As for `Wording.told`.

    Examples
    --------
    >>> fitted = sentence("answer.fitted", part="drain pump")
    >>> fitted, Wording("de").told(fitted)
    ('fitted drain pump', 'eingebaut: Ablaufpumpe')
    """
    made = Sentence(Wording("en").tell(key, **gaps))
    made.key, made.gaps = key, gaps
    return made


def several(pieces: Sequence[object], between: str = "; ") -> Several:
    """Put pieces one after the other; what `Wording.told` makes of each is what is read."""
    made = Several(between.join(Wording("en").told(piece) for piece in pieces))
    made.pieces, made.between = tuple(pieces), between
    return made


def in_language(locale: str, currency: str) -> Wording:
    """Give the wording of a workshop's language; English where there is no catalogue for it."""
    return Wording(locale if locale in languages() else "en", currency)


def value_of(finding: str, value: str) -> Value:
    """Tie a value to what it was seen of."""
    made = Value(value)
    made.finding = finding
    return made

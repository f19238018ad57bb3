"""The words, dates, numbers and money of a page in one language, from ``languages/<code>.toml``.

A catalogue entry is a sentence with named gaps, or one sentence each for ``one`` and ``other`` when it counts something
(the gap ``n`` decides). English is the reference: another language may leave entries out and English stands in.
"""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from reports.render.currency import SIGNS
from reports.render.page import plain

NO_BREAK = "\N{NO-BREAK SPACE}"


def languages() -> list[str]:
    """List the languages there is a catalogue for."""
    folder = files("reports") / "languages"
    return sorted(entry.name.removesuffix(".toml") for entry in folder.iterdir() if entry.name.endswith(".toml"))


@cache
def _catalogue(language: str) -> dict[str, Any]:
    text = (files("reports") / "languages" / f"{language}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


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

    def term(self, written: object) -> str:
        """Give a term in this language, or as the workshop writes it when the catalogue has no word for it."""
        text = plain(written, 80)
        return str(_catalogue(self.language).get("terms", {}).get(text, text))

    def terms_in(self, value: Any) -> Any:
        """Give what JSON holds with every text and name that is a term, or a caution, in this language."""
        if isinstance(value, str):
            catalogue = _catalogue(self.language)
            return catalogue.get("terms", {}).get(value) or catalogue.get("caution_texts", {}).get(value, value)
        if isinstance(value, Mapping):
            return {self.terms_in(name): self.terms_in(inner) for name, inner in value.items()}
        if isinstance(value, list | tuple):
            return [self.terms_in(inner) for inner in value]
        return value

    def number(self, value: object, decimals: int = 0) -> str:
        """Write a number with this language's marks; a true minus sign; a missing number is a dash."""
        if value is None or value != value:
            return "–"
        marks = _catalogue(self.language)["numbers"]
        text = f"{float(str(value)):,.{decimals}f}".translate({44: "\0", 46: marks["decimal"]})
        return text.replace("\0", marks["group"]).replace("-", "\N{MINUS SIGN}")

    def percent(self, share: object, decimals: int = 0) -> str:
        """Write a share from 0 to 1 as a percentage."""
        if share is None or share != share:
            return "–"
        return str(_catalogue(self.language)["numbers"]["percent"]).format(
            self.number(100 * float(str(share)), decimals)
        )

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

    def month(self, day: dt.date) -> str:
        """Write a month and its year, such as October 2026."""
        dates = _catalogue(self.language)["dates"]
        return str(dates["month"]).format(month=dates["long"][day.month - 1], year=day.year)

    def month_name(self, day: dt.date, *, short: bool = False) -> str:
        """Write a month without its year."""
        return str(_catalogue(self.language)["dates"]["short" if short else "long"][day.month - 1])

    def list_of(self, items: list[str]) -> str:
        """Join words as speech does: a, b and c."""
        if len(items) < 2:
            return "".join(items)
        return f"{', '.join(items[:-1])} {self.say('units.and')} {items[-1]}"

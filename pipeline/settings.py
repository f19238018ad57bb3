"""How this workshop counts: windows, rates and choices, read from a TOML file beside the database.

``workshop.toml`` beside ``workshop.duckdb`` may hold any of these names::

    window_days = 28
    hour_rate = 52.0
    currency = "EUR"
    word_lists = ["our-words.toml"]

    [rates]
    USD = 0.92

What is not named keeps its default. The values in force are stored in the one-row table ``setting``.
"""

from __future__ import annotations

import datetime as dt
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import LayoutError, shown
from pipeline.small_text import small_text

if TYPE_CHECKING:
    import duckdb


@dataclass(frozen=True)
class Settings:
    """The choices every figure depends on.

    Attributes
    ----------
    window_days
        Callback window W of a first-time fix, days.
    waiting_days
        How long an uncured visit waits for its next visit, days.
    guarantee_days
        How long the workshop stands by a part it fitted, days (common practice, no source).
    hour_rate
        What an hour of labour costs the workshop, money.
    trip_cost, trip_minutes
        One further trip: money, and minutes on the road.
    wrong_labour_billed
        Customers pay the labour of visits that fitted a part that was not the cause: it is not counted as lost.
    currency
        ISO 4217 code the money is shown in.
    rates
        What one unit of another currency is worth in this one; amounts in a currency without a rate are refused.
    as_of
        End of follow-up; None means the last visit date loaded.
    mask_contacts
        Mask phone numbers, e-mail and street addresses and postcodes in free text at the door.
    hash_technicians
        Store technicians as a keyed hash.
    languages
        Word lists in force, most important first. Where the file names none: English, and the language of ``locale``.
    word_lists
        The workshop's own lists, TOML or CSV, beside the settings file.
    locale
        Language and number form of reports.
    currency_is_given
        Whether the settings file names the currency; where not, the first records with money decide.
    """

    window_days: int = 30
    waiting_days: int = 120
    guarantee_days: int = 90
    hour_rate: float = 48.0
    trip_cost: float = 22.0
    trip_minutes: float = 35.0
    wrong_labour_billed: bool = False
    currency: str = "GBP"
    rates: Mapping[str, float] = field(default_factory=dict)
    as_of: dt.date | None = None
    mask_contacts: bool = True
    hash_technicians: bool = False
    languages: tuple[str, ...] = ("en",)
    word_lists: tuple[Path, ...] = ()
    locale: str = "en"
    currency_is_given: bool = False


WORD_LISTS = Path(__file__).parent / "words"
SMALLEST = {"window_days": 1, "waiting_days": 1, "guarantee_days": 0, "hour_rate": 0, "trip_cost": 0, "trip_minutes": 0}
COUNTED = (
    "window_days", "waiting_days", "hour_rate", "trip_cost", "trip_minutes", "currency", "as_of", "wrong_labour_billed",
)  # fmt: skip


def read_settings(path: Path) -> Settings:
    """Read the settings file; a missing file means all defaults.

    Raises
    ------
    LayoutError
        An unknown name, a value of the wrong kind, or text that is not TOML.
    """
    if not path.exists():
        return Settings()
    try:
        given = tomllib.loads(small_text(path))
    except OSError as fault:
        raise LayoutError(
            f"{path.name} cannot be read: {fault.strerror or fault}.", "Settings are a small TOML file."
        ) from fault
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as fault:
        raise LayoutError(
            f"{path.name} is not TOML: {fault}", "Fix that line; names and values are in the README."
        ) from fault
    if "columns" in given:
        raise LayoutError(
            f"{path.name} is a layout, but settings of the database beside it are read from that name.",
            "Give the layout another name.",
        )
    known = {f.name: f for f in fields(Settings) if f.name != "currency_is_given"}
    for name in given:
        if name not in known:
            raise LayoutError(f"{path.name}: {shown(name)} is an unknown setting.", f"Settings are {', '.join(known)}.")
    checked = {name: _checked(path, name, value) for name, value in given.items()}
    if "rates" in checked and checked.get("currency", next(iter(checked["rates"]), "")) in checked["rates"]:
        raise LayoutError(
            f"{path.name}: [rates] say what other currencies are worth in the workshop's own.",
            'Name that one above them, currency = "…", and give it no rate.',
        )
    if "languages" not in checked and _has_word_list(locale := str(checked.get("locale", "en"))):
        checked["languages"] = tuple(dict.fromkeys(("en", locale)))
    return Settings(**checked, currency_is_given="currency" in given)


def _has_word_list(language: str) -> bool:
    """Whether word lists of a language are shipped."""
    return bool(re.fullmatch("[a-z]{2,3}", language)) and (WORD_LISTS / language / "cues.toml").is_file()


def with_currency_held(settings: Settings, connection: duckdb.DuckDBPyConnection) -> Settings:
    """Count in the currency that the records decided on, where the settings file names none."""
    held = stored_settings(connection)
    if settings.currency_is_given or held is None:
        return settings
    return replace(settings, currency=held["currency"])


def money_in_force(settings: Settings) -> str:
    """Say which money is taken, to tell whether that has changed since."""
    return " ".join([settings.currency, *(f"{code}={rate:g}" for code, rate in sorted(settings.rates.items()))])


def _checked(path: Path, name: str, value: Any) -> Any:
    default = getattr(Settings(), name)
    if name == "as_of":
        good = isinstance(value, dt.date) and not isinstance(value, dt.datetime)
    elif name == "rates":
        good = isinstance(value, dict) and all(
            re.fullmatch("[A-Z]{3}", code)
            and isinstance(rate, int | float)
            and not isinstance(rate, bool)
            and 0 < rate < 1e6
            for code, rate in value.items()
        )
    elif isinstance(default, tuple):
        good = isinstance(value, list) and all(isinstance(v, str) for v in value)
    elif isinstance(default, bool):
        good = isinstance(value, bool)
    elif isinstance(default, int):
        good = isinstance(value, int) and not isinstance(value, bool)
    elif isinstance(default, float):
        good = isinstance(value, int | float) and not isinstance(value, bool)
    else:
        good = isinstance(value, str)
    if not good or (name in SMALLEST and not SMALLEST[name] <= value < 1e6):
        raise LayoutError(
            f"{path.name}: {name} = {shown(value)} is not allowed.",
            "Write it as a day without quotes: as_of = 2026-09-15; leave it out for the last visit loaded."
            if name == "as_of"
            else "Write under [rates] what one unit is worth in your currency: USD = 0.92."
            if name == "rates"
            else f"Write it like the default: {shown(default)}.",
        )
    if name == "word_lists":
        return tuple(path.parent / v for v in value)
    return tuple(value) if isinstance(default, tuple) else type(default)(value) if default is not None else value


def stored_settings(connection: duckdb.DuckDBPyConnection) -> dict[str, Any] | None:
    """Return the settings the tables were last built with, None in a new database."""
    rows = connection.execute(f"select {', '.join(COUNTED)} from setting").fetchall()
    return dict(zip(COUNTED, rows[0], strict=True)) if rows else None


def store_settings(connection: duckdb.DuckDBPyConnection, settings: Settings) -> None:
    """Replace the one row of ``setting``."""
    connection.execute("delete from setting")
    marks = ", ".join("?" for _ in COUNTED)
    connection.execute(
        f"insert into setting ({', '.join(COUNTED)}) values ({marks})", [getattr(settings, name) for name in COUNTED]
    )


def is_stored(connection: duckdb.DuckDBPyConnection, settings: Settings) -> bool:
    """Tell whether the tables were built with these settings."""
    return stored_settings(connection) == {name: getattr(settings, name) for name in COUNTED}

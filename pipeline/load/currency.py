"""Whether a file's money is the workshop's: amounts of different currencies are never added."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.errors import LayoutError, shown
from pipeline.load.column_evidence import CURRENCY
from pipeline.load.mapping import literal
from pipeline.settings import store_settings
from pipeline.store.batches import batches, insert
from pipeline.values import money, parts_line
from pipeline.values.distinct import plain
from sql.working import make

if TYPE_CHECKING:
    import duckdb

    from pipeline.load.layout import Layout
    from pipeline.settings import Settings

AMOUNTS = ("labour_charge", "parts_cost")
MONEY_SIGN = (
    r"[£€$¥₹₺₴₪]|zł|(?i:kč|\bkr|\bft\b|\blei\b)|\bRs?\.? ?[0-9]|\b[A-Z]{3}\b"  # a text that may name a currency
)
CODE_OF = {"£": "GBP", "€": "EUR"}
OF_A_SIGN = {  # a sign that several currencies share, the likeliest first
    "$": ("USD", "CAD", "AUD", "NZD", "SGD", "HKD", "MXN"),
    "¥": ("JPY", "CNY"),
    "kr": ("SEK", "NOK", "DKK", "ISK"),
    "Kr": ("SEK", "NOK", "DKK", "ISK"),
    "R": ("ZAR",),
    "Rs": ("INR", "PKR"),
    "Ft": ("HUF",),
    "lei": ("RON",),
}


def settle_currency(
    connection: duckdb.DuckDBPyConnection, layout: Layout, settings: Settings
) -> tuple[Settings, list[str]]:
    """Make table ``foreign_money`` (written, currency) of amounts, and texts of parts with prices, in no money of ours.

    Ours are the workshop's currency and those it has a rate for. Where the settings file names no currency, the first
    file with money decides for all. Reads view ``line``.

    Raises
    ------
    LayoutError
        The layout says another currency than the workshop's, and there is no rate for it.
    """
    found: dict[str, set[str]] = {}
    for column in AMOUNTS:
        rows = connection.execute(
            f"select distinct {column} from line where {column} is not null order by 1"
        ).fetchall()
        written = [w for (w,) in rows]
        _, currencies, _ = money.read_values([plain(w) for w in written], [1] * len(written), layout.decimal_mark)
        found |= {w: {c} for w, c in zip(written, currencies, strict=True) if c}
    found |= _in_parts(connection, layout)
    notes: list[str] = []
    has_lines = connection.execute("select 1 from line limit 1").fetchall()
    named = currency_of(layout) if has_lines else None
    said = {OF_A_SIGN.get(c, (c,)) for c in ([named] if named else {c for signs in found.values() for c in signs})}
    is_open = not settings.currency_is_given and not _holds_money(connection)
    if is_open and len(said) == 1 and settings.currency not in next(iter(said)):
        settings = replace(settings, currency=next(iter(said))[0])
        store_settings(connection, settings)
        notes.append(
            f"Amounts are in {settings.currency}, which is now the currency of this workshop; "
            "if it is another, write currency = … in the settings file."
        )
    if named and rate_of(named, settings) is None:
        code = OF_A_SIGN.get(named, (named,))[0]
        where = "The layout says" if layout.currency else "The names of the columns say"
        raise LayoutError(
            f"{where} {named}, the workshop counts in {settings.currency}; they are never added.",
            f"Say in the settings file what 1 {code} is worth, [rates] {code} = …, "
            f'or that it is the workshop\'s, currency = "{code}"; or keep it in a database of its own.',
        )
    foreign = {w: c for w, signs in found.items() for c in sorted(signs) if rate_of(c, settings) is None}
    notes += _converted(connection, found, foreign, layout, settings)
    make(connection, "foreign_money")
    insert(connection, "foreign_money", {"w": list(foreign), "c": list(foreign.values())})
    return settings, notes


def currency_of(layout: Layout) -> str | None:
    """Give the currency or sign that a layout names, or the names of its columns do: "labour £".

    Raises
    ------
    LayoutError
        The columns name several.
    """
    if layout.currency:
        return layout.currency
    columns = [rule.column for f in (*AMOUNTS, "part_unit_cost") for rule in layout.columns.get(f, ())]
    found = {CODE_OF.get(sign[0], sign[0].upper()): c for c in columns if (sign := CURRENCY.search(c))}
    if len(found) > 1:
        named = "; ".join(f"{shown(column)} in {sign}" for sign, column in found.items())
        raise LayoutError(
            f"The columns are of different currencies, which are never added: {named}.",
            "Leave one of them out of the layout, or put them in one currency.",
        )
    return next(iter(found), None)


def _holds_money(connection: duckdb.DuckDBPyConnection) -> bool:
    return bool(
        connection.execute(
            "select 1 from stage_visit where labour_charge is not null or parts_cost is not null "
            "union all select 1 from stage_part where unit_cost is not null limit 1"
        ).fetchall()
    )


def _in_parts(connection: duckdb.DuckDBPyConnection, layout: Layout) -> dict[str, set[str]]:
    """Give the currencies named in texts of parts, "pump @ $34"."""
    found: dict[str, set[str]] = {}
    query = f"select distinct parts as w from line where regexp_matches(parts, {literal(MONEY_SIGN)})"
    for rows in batches(connection, query):
        split = parts_line.split(rows["w"], layout.decimal_mark).dropna(subset="currency")
        for at, currency in zip(split["row"], split["currency"], strict=True):
            found.setdefault(str(rows["w"].iloc[at]), set()).add(str(currency))
    return found


def rate_of(currency: str | None, settings: Settings) -> float | None:
    """Give what one unit of a currency, or of a sign, is worth in the workshop's money; None = not known."""
    meant = OF_A_SIGN.get(currency or "", (currency or settings.currency,))
    if settings.currency in meant:
        return 1.0
    rates = [settings.rates[code] for code in meant if code in settings.rates]
    return rates[0] if len(rates) == 1 else None


def rates_by_sign(settings: Settings) -> dict[str, float]:
    """Give the rate of every currency code and sign whose amounts are converted."""
    rates = {written: rate_of(written, settings) for written in (*settings.rates, *OF_A_SIGN)}
    return {written: rate for written, rate in rates.items() if rate is not None and rate != 1.0}


def _converted(
    connection: duckdb.DuckDBPyConnection,
    found: dict[str, set[str]],
    foreign: dict[str, str],
    layout: Layout,
    settings: Settings,
) -> list[str]:
    """Say how many amounts are converted, from what and at which rate."""
    rates, named = rates_by_sign(settings), currency_of(layout)
    if not rates:
        return []
    lines: Counter[str] = Counter()
    for column in (*AMOUNTS, "parts"):
        for written, count in connection.execute(
            f"select {column}, count(*) from line where {column} is not null group by all"
        ).fetchall():
            signs = found.get(written, {named} if named and column != "parts" else set())
            for sign in signs & rates.keys() if written not in foreign else set():
                lines[str(sign)] += count
    return [
        f"In {sign}: {count:,} amounts, converted at {rates[sign]:g} {settings.currency} for one, "
        "the rate of the settings file."
        for sign, count in sorted(lines.items())
    ]

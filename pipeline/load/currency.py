"""Whether a file's money is the workshop's: amounts of different currencies are never added."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from pipeline.errors import LayoutError
from pipeline.settings import store_settings
from pipeline.store.batches import insert
from pipeline.values import money
from pipeline.values.distinct import plain

if TYPE_CHECKING:
    import duckdb

    from pipeline.load.layout import Layout
    from pipeline.settings import Settings

AMOUNTS = ("labour_charge", "parts_cost")
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
    """Make table ``foreign_money`` (written, currency) of the amounts that are not in the workshop's money.

    Reads view ``line``. Where the settings file names no currency, the first file with money decides for all.

    Raises
    ------
    LayoutError
        The layout says another currency than the workshop's.
    """
    found: dict[str, str] = {}
    for column in AMOUNTS:
        rows = connection.execute(
            f"select distinct {column} from line where {column} is not null order by 1"
        ).fetchall()
        written = [w for (w,) in rows]
        _, currencies, _ = money.read_values([plain(w) for w in written], [1] * len(written), layout.decimal_mark)
        found |= {w: c for w, c in zip(written, currencies, strict=True) if c}
    notes: list[str] = []
    said = {OF_A_SIGN.get(c, (c,)) for c in found.values()} | ({(layout.currency,)} if layout.currency else set())
    is_open = not settings.currency_is_given and not _holds_money(connection)
    if is_open and len(said) == 1 and settings.currency not in next(iter(said)):
        settings = replace(settings, currency=next(iter(said))[0])
        store_settings(connection, settings)
        notes.append(
            f"Amounts are in {settings.currency}, which is now the currency of this workshop; "
            "if it is another, write currency = … in the settings file."
        )
    if layout.currency and layout.currency != settings.currency:
        raise LayoutError(
            f"The layout says {layout.currency}, the workshop counts in {settings.currency}; they are never added.",
            f'Keep it in a database of its own, or write currency = "{layout.currency}" in the settings file.',
        )
    foreign = {w: c for w, c in found.items() if settings.currency not in OF_A_SIGN.get(c, (c,))}
    connection.execute("create or replace temp table foreign_money (written varchar, currency varchar)")
    insert(connection, "foreign_money", {"w": list(foreign), "c": list(foreign.values())})
    return settings, notes


def _holds_money(connection: duckdb.DuckDBPyConnection) -> bool:
    return bool(
        connection.execute(
            "select 1 from stage_visit where labour_charge is not null or parts_cost is not null limit 1"
        ).fetchall()
    )

"""How amounts of a currency are signed."""

from __future__ import annotations

SIGNS = {"GBP": "£", "EUR": "€", "USD": "$"}


def money(amount: float, currency: str) -> str:
    """Write an amount as people read it.

    Examples
    --------
    >>> money(1840.4, "GBP"), money(95, "CHF")
    ('£1,840', 'CHF 95')
    """
    return f"{SIGNS.get(currency, currency + ' ')}{amount:,.0f}"

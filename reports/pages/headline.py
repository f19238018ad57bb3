"""The first screen: the month in one sentence and four figures, each with interval, change and basis, as ready text."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from reports.render.wording import Wording

MEASURES = ("first_time_fix", "callbacks", "wrong_swaps", "days_to_cure")
STRIP_WIDTH = 200.0
_MARGIN = 5.0


@dataclass(frozen=True)
class Strip:
    """A figure's interval on a line: places are in the units of a 200 wide drawing; None = not drawn."""

    now: str | None
    low: str | None
    high: str | None
    before: str | None
    left: str
    right: str
    said: str


@dataclass(frozen=True)
class Figure:
    """One of the four figures, ready to show."""

    measure: str
    label: str
    value: str
    interval: str
    change: str
    basis: str
    is_provisional: bool
    strip: Strip | None


@dataclass(frozen=True)
class Period:
    """The period of a page and the one before it, by first days of months."""

    first: dt.date
    last: dt.date
    before_first: dt.date
    before_last: dt.date

    def name(self, wording: Wording) -> str:
        """Name the period: a month, or its first and last."""
        return _span(self.first, self.last, wording)

    def before_name(self, wording: Wording) -> str:
        """Name the period it is compared with."""
        return _span(self.before_first, self.before_last, wording)


def _span(first: dt.date, last: dt.date, wording: Wording) -> str:
    if first == last:
        return wording.month(first)
    return wording.say("page.view_period", first=wording.month(first), last=wording.month(last))


def _when(place: str, first: dt.date, last: dt.date, wording: Wording) -> str:
    if first == last:
        return wording.say(f"sentence.{place}_month", month=wording.month(first))
    return wording.say(f"sentence.{place}_period", first=wording.month(first), last=wording.month(last))


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and math.isfinite(value)


def _days(value: object, wording: Wording) -> str:
    if value == math.inf:
        return wording.say("figure.not_reached")
    if not _is_number(value):
        return "–"
    days = round(float(str(value)))
    return wording.say("units.same_day") if days == 0 else wording.say("units.days", n=days)


def state(now: Mapping[str, Mapping[str, Any]], wording: Wording) -> str:
    """Say whether the figures of a period can still move: none, some or all of them."""
    moving = [bool(now[measure]["is_provisional"]) for measure in MEASURES]
    key = "provisional" if all(moving) else "partly_provisional" if any(moving) else "settled"
    return wording.say(f"page.{key}")


def shown_value(measure: str, value: object, wording: Wording) -> str:
    """Write a figure's value in its own unit: a percentage, money, or days."""
    if measure == "days_to_cure":
        return _days(value, wording)
    if not _is_number(value):
        return "–"
    if measure == "wrong_swaps":
        return wording.money(value)
    return wording.percent(value, 0 if measure == "first_time_fix" else 1)


def figures(
    now: Mapping[str, Mapping[str, Any]],
    before: Mapping[str, Mapping[str, Any]],
    changes: Mapping[str, tuple[float, float, float]],
    period: Period,
    wording: Wording,
    window: int,
) -> list[Figure]:
    """Make the four figures.

    Parameters
    ----------
    now, before
        Measure -> value, low, high, is_provisional and what its basis needs: first_time_fix: fixed, known,
        not_yet_known; callbacks: fixes, returns, open; both: followed;
        wrong_swaps: parts, judged, open, to_review, waiting, fitted, to_come, to_come_low, to_come_high, usual, labour,
        trips, is_labour_billed, assumed, is_comparable; days_to_cure: faults, open, half. NaN = too few.
    changes
        Measure -> difference with its 95% interval; a measure that cannot be compared is left out.
    period
        The months spoken of.
    wording
        Language and money.
    window
        Callback window, days.
    """
    return [_figure(measure, now[measure], before[measure], changes, period, wording, window) for measure in MEASURES]


def _figure(
    measure: str,
    now: Mapping[str, Any],
    before: Mapping[str, Any],
    changes: Mapping[str, tuple[float, float, float]],
    period: Period,
    wording: Wording,
    window: int,
) -> Figure:
    def show(value: object) -> str:
        return shown_value(measure, value, wording)

    value = show(now["value"])
    if measure == "first_time_fix" and not _is_number(now["value"]):
        value = wording.say("units.per_cent_of", x=wording.number(now["fixed"]), y=wording.number(now["known"]))
    if measure == "callbacks" and not _is_number(now["value"]):
        value = wording.say("units.per_cent_of", x=wording.number(now["returns"]), y=wording.number(now["fixes"]))
    has_interval = _is_number(now["low"]) and _is_number(now["value"])
    high_text = show(now["high"]) if _is_number(now["high"]) else wording.say("figure.not_reached")
    interval = wording.say("figure.no_interval")
    if has_interval and show(now["low"]) == high_text:
        interval = wording.say("figure.interval_point", value=high_text)
    elif has_interval:
        interval = wording.say("figure.interval", low=show(now["low"]), high=high_text)
    return Figure(
        measure=measure,
        label=wording.say(f"figure.{measure}", window=window),
        value=value,
        interval=interval,
        change=_change(measure, before, changes, period, wording),
        basis=_basis(measure, now, wording, window),
        is_provisional=bool(now["is_provisional"]),
        strip=_strip(measure, now, before, show) if has_interval else None,
    )


def _change(
    measure: str,
    before: Mapping[str, Any],
    changes: Mapping[str, tuple[float, float, float]],
    period: Period,
    wording: Wording,
) -> str:
    when = period.before_name(wording)
    value = before["value"]
    if not (_is_number(value) or value == math.inf):
        return wording.say("figure.change_unknown", before_when=when)
    shown = shown_value(measure, value, wording)
    if measure not in changes or any(math.isnan(part) for part in changes[measure]):
        return wording.say("figure.change", before_when=when, before=shown)
    _, low, high = changes[measure]
    key = "figure.change_chance" if low <= 0 <= high else "figure.change_real"
    return wording.say(key, before_when=when, before=shown)


def _basis(measure: str, now: Mapping[str, Any], wording: Wording, window: int) -> str:
    numbers = {
        name: wording.number(now[name])
        for name in ("fixed", "known", "not_yet_known", "returns", "judged", "open")
        if name in now
    }
    if measure == "first_time_fix":
        key = "figure.basis_first_time_fix_open" if now["not_yet_known"] else "figure.basis_first_time_fix"
        text = wording.say(
            key, fixed=numbers["fixed"], known=numbers["known"], open=numbers["not_yet_known"], window=window
        )
        return text + _followed(now, wording, window)
    if measure == "callbacks":
        text = wording.say("figure.basis_callbacks", returns=numbers["returns"], n=now["fixes"])
        return text + _followed(now, wording, window, "figure.followed_callbacks")
    if measure == "wrong_swaps":
        key = "figure.basis_wrong_swaps" if now["judged"] else "figure.none_judged"
        text = wording.say(key, n=now["parts"], of=numbers["judged"])
        if now["parts"]:
            key = "figure.beside_billed" if now["is_labour_billed"] else "figure.made_of"
            text += wording.say(key, labour=wording.money(now["labour"]), trips=wording.money(now["trips"]))
        if now["to_review"]:
            text += wording.say("figure.to_review", n=now["to_review"])
        if never := now["open"] - now["to_review"] - now["waiting"]:
            text += wording.say("figure.never_judged", n=never)
        if now["waiting"]:
            text += _to_come(now, wording)
        if not now["is_comparable"]:
            text += wording.say("figure.no_comparison")
        if now["assumed"] and now["parts"]:
            hour, trip, _ = now["assumed"]
            text += wording.say("figure.assumed", hour=wording.money(hour), trip=wording.money(trip))
        return text
    return wording.say(
        "figure.basis_days_to_cure", n=now["faults"], open=numbers["open"], half=_days(now["half"], wording)
    )


def _to_come(now: Mapping[str, Any], wording: Wording) -> str:
    """Say how many parts wait for their verdict, and how many of them are to be expected wrong."""
    if not _is_number(now["to_come"]):
        return wording.say("figure.waiting", n=now["waiting"])
    return wording.say(
        "figure.to_come",
        n=now["waiting"],
        usual=wording.percent(now["usual"], 1),
        more=wording.number(now["to_come"], 1),
        low=wording.number(now["to_come_low"]),
        high=wording.number(now["to_come_high"]),
    )


def _followed(now: Mapping[str, Any], wording: Wording, window: int, key: str = "figure.followed") -> str:
    """Say so when nobody has been followed to the end of the window yet."""
    if not now["is_provisional"] or now["followed"] >= window:
        return ""
    return wording.say(key, day=now["followed"], window=window)


def _strip(measure: str, now: Mapping[str, Any], before: Mapping[str, Any], show: Callable[[object], str]) -> Strip:
    values = [float(item) for item in (now["value"], now["low"], now["high"], before["value"]) if _is_number(item)]
    least = 1.0 if measure == "days_to_cure" else 1e-3
    top = 1.0 if measure == "first_time_fix" else _round_up(max([*values, least]))

    def place(value: object, missing: str | None = None) -> str | None:
        if not _is_number(value):
            return missing
        share = min(max(float(str(value)) / top, 0.0), 1.0)
        return f"{_MARGIN + share * (STRIP_WIDTH - 2 * _MARGIN):.1f}"

    return Strip(
        now=place(now["value"]),
        low=place(now["low"]),
        high=place(now["high"], f"{STRIP_WIDTH - _MARGIN:.1f}"),
        before=place(before["value"]),
        left=show(0.0) if measure != "days_to_cure" else "0",
        right=show(top),
        said=f"{show(now['value'])} ({show(now['low'])} – {show(now['high'])})",
    )


def _round_up(value: float) -> float:
    """Give the next round number above a value: 1, 2, 2.5 or 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in (1, 1.5, 2, 2.5, 3, 4, 5, 6, 8, 10) if step * power >= value)


def sentence(
    now: Mapping[str, Mapping[str, Any]],
    before: Mapping[str, Mapping[str, Any]],
    changes: Mapping[str, tuple[float, float, float]],
    period: Period,
    wording: Wording,
) -> str:
    """Say the period in one sentence: fixed at the first visit, against before, and what wrong swaps cost."""
    fix, swaps = now["first_time_fix"], now["wrong_swaps"]
    when = _when("in", period.first, period.last, wording)
    rate = wording.percent(fix["value"])
    if fix["known"] + fix["not_yet_known"] == 0:
        text = wording.say("sentence.none", when=when)
    elif not _is_number(fix["value"]):
        text = wording.say("sentence.few", when=when, fixed=wording.number(fix["fixed"]), n=fix["known"])
    elif fix["is_provisional"]:
        text = wording.say("sentence.provisional", when=when, rate=rate)
    else:
        text = wording.say("sentence.settled", when=when, rate=rate, known=wording.number(fix["known"]))
    earlier = before["first_time_fix"]["value"]
    if _is_number(fix["value"]) and _is_number(earlier) and "first_time_fix" in changes:
        _, low, high = changes["first_time_fix"]
        key = "change_chance" if low <= 0 <= high else "change_up" if low > 0 else "change_down"
        earlier_when = _when("before", period.before_first, period.before_last, wording)
        text += wording.say(f"sentence.{key}", before=wording.percent(earlier), before_when=earlier_when)
    if swaps["parts"]:
        key = "sentence.money_least" if swaps["to_review"] or swaps["waiting"] else "sentence.money"
        return text + wording.say(key, money=wording.money(swaps["value"]), n=swaps["parts"])
    if swaps["waiting"]:
        return text + wording.say("sentence.no_money_yet", n=swaps["fitted"])
    return text + wording.say("sentence.no_money")

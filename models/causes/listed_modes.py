"""What word lists say of each way to fail, coded for the columns of a set of jobs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from models.plan.likelihood import METERED, MISMEASURED, NORMAL, USUAL

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from models.causes.encoding import Column
    from models.causes.failure_modes import Places

PART = "part"  # no column of the jobs: what a way needs
HANDED_ON = "handed on"  # nor this: the workshop advises or refers, so no cure of its own will tell how often it comes


@dataclass(frozen=True)
class Written:
    """What the lists say, coded for one set of columns.

    Attributes
    ----------
    cause
        Of each way; a cause no list names has one way, about which nothing is written.
    group
        Of each way: ways of one group have the same complaints and compete for them; 0 = not written.
    part
        Of each way: ways of one number need the same parts; one that needs none stands alone.
    is_handed_on
        Of each way: seldom or never cured by the workshop, however often it comes.
    share
        kinds × ways: written share within kind and group; 0 = not written for the kind.
    main
        said columns × ways: written chance of the main complaint.
    stated
        cells × ways: written chance of a value; 0 = not written.
    usual
        cells: chance of a value where nothing is written: the words of a sound appliance are likely.
    """

    cause: np.ndarray
    group: np.ndarray
    part: np.ndarray
    is_handed_on: np.ndarray
    share: np.ndarray
    main: np.ndarray
    stated: np.ndarray
    usual: np.ndarray


def read_background(
    background: pd.DataFrame, columns: Sequence[Column], starts: np.ndarray, places: Places, classes: Sequence[str]
) -> Written:
    """Code what the lists say.

    Parameters
    ----------
    background
        One row a way and value: way, cause, column, value, chance. Rows of the scope column hold the way's share, rows
        of ``part`` what it needs; a row of ``handed on`` says that the workshop does not cure it.
    classes
        Causes in order, those of the background among them.
    """
    name_at = {column.name: position for position, column in enumerate(columns)}
    cause_at = {name: position for position, name in enumerate(classes)}
    ways = background.drop_duplicates("way")
    way_at = {way: position for position, way in enumerate(ways["way"])}
    cause = [cause_at[str(name)] for name in ways["cause"]]
    cause += sorted(set(range(len(classes))) - set(cause))
    share = np.zeros((places.kinds, len(cause)))
    main = np.zeros((len(places.said), len(cause)))
    stated = np.zeros((int(starts[-1]), len(cause)))
    said_at = {int(position): row for row, position in enumerate(places.said)}
    for way, name, value, chance in background[["way", "column", "value", "chance"]].itertuples(index=False):
        position, w = name_at.get(name, -1), way_at[way]
        if position < 0 or value not in columns[position].values:
            continue
        if position == places.scope:
            share[columns[position].values.index(value), w] = chance
        elif position in said_at:
            main[said_at[position], w] = chance
        else:
            stated[starts[position] + columns[position].values.index(value), w] = chance
    group = np.zeros(len(cause), dtype=int)
    group[: len(ways)] = np.unique(main[:, : len(ways)] > 0, axis=1, return_inverse=True)[1].ravel() + 1
    for one in range(1, group.max() + 1):
        total = share[:, group == one].sum(axis=1, keepdims=True)
        share[:, group == one] /= np.where(total > 0, total, 1.0)
    main /= np.where(main.sum(axis=0) > 0, main.sum(axis=0), 1.0)
    part = _parts(background, list(way_at), len(cause))
    is_handed_on = np.zeros(len(cause), dtype=bool)
    is_handed_on[[way_at[way] for way in background.loc[background["column"] == HANDED_ON, "way"]]] = True
    return Written(np.array(cause), group, part, is_handed_on, share, main, stated, _usual(columns, starts, stated))


def _usual(columns: Sequence[Column], starts: np.ndarray, stated: np.ndarray) -> np.ndarray:
    usual = np.ones(int(starts[-1]))
    for position, column in enumerate(columns):
        mine = slice(int(starts[position]), int(starts[position + 1]))
        sound = [value in NORMAL for value in column.values]
        if set(column.values) == {"yes", "no"}:  # the answer no way stands out by
            telling = stated[mine][:, stated[mine].any(axis=0)].argmax(axis=0)
            sound = [not (telling == place).any() for place in range(2)]
        if 0 < sum(sound) < len(sound):
            chance = np.where(sound, 0.0, (1 - USUAL) / (len(sound) - sum(sound)))
            chance[[value in METERED for value in column.values]] = MISMEASURED
            usual[mine] = np.where(sound, (1 - chance.sum()) / sum(sound), chance)
        elif column.size:
            usual[mine] = 1 / column.size
    return usual


def _parts(background: pd.DataFrame, ways: list[object], number: int) -> np.ndarray:
    rows = background[background["column"] == PART]
    needs: dict[object, str] = {way: "|".join(sorted(parts)) for way, parts in rows.groupby("way")["value"]}
    named = [needs.get(way, f"none {way}") for way in ways]
    named += [f"not written {position}" for position in range(len(ways), number)]
    return np.unique(named, return_inverse=True)[1]

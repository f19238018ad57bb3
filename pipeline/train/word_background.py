"""The word lists as a background for the cause model: every way to fail, its share, and what checks should show."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.words.appliance import expectations, is_handed_on, number, split

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.words import Words

COLUMNS = ["way", "cause", "column", "value", "chance"]


def background(words: Words) -> pd.DataFrame:
    """Give the lists in force, the workshop's own among them, one row a way to fail and value.

    Returns
    -------
    way (place in the list), cause, column (``kind``: chance holds the way's share; ``part``: what it needs;
    ``handed on``: the workshop advises or refers; ``symptom: s``; ``finding: f``), value, chance. A way without a share
    counts like the least of those written. Values that a check can find and no way shows have chance 0: what is sound
    is known where only what is not is written ("motor winding good").
    """
    import pandas as pd

    from models.causes.features import FINDING, SYMPTOM
    from models.causes.listed_modes import HANDED_ON

    rows: list[tuple[int, str, str, str, float]] = []
    for way, fault in enumerate(words.faults().to_dict("records")):
        cause, symptoms = fault["cause"], split(fault["symptoms"])
        rows += [(way, cause, "kind", kind, number(fault["share"]) or 1.0) for kind in split(fault["kinds"])]
        rows += [(way, cause, "part", part, 1.0) for part in split(fault["parts"])]
        rows += [(way, cause, SYMPTOM + symptom, "yes", 1 / len(symptoms)) for symptom in symptoms]
        rows += [(way, cause, FINDING + f, value, p) for f, value, p in expectations(fault["expected"])]
        if is_handed_on(fault["action"]):
            rows.append((way, cause, HANDED_ON, "yes", 1.0))
    stating = {column: (way, cause) for way, cause, column, _, _ in rows}
    known = {(column, value) for _, _, column, value, _ in rows}
    for check in words.checks().to_dict("records"):
        column = FINDING + check["finding"]
        new = [value for value in split(check["values"]) if column in stating and (column, value) not in known]
        rows += [(*stating[column], column, value, 0.0) for value in new]
        known |= {(column, value) for value in new}
    return pd.DataFrame(rows, columns=COLUMNS)

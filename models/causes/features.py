"""What the cause model is told about a job: one column a fact, empty where nobody looked."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Iterable, Mapping, Sequence

PLAIN = ("kind", "make", "model_family", "age_years")
SYMPTOM = "symptom: "
FINDING = "finding: "
CODE = "code"
TEXT = "complaint"  # as written at the call; read word by word, never as one value
SEASON = "season"
QUARTERS = ("December to February", "March to May", "June to August", "September to November")
NEVER_STRANGE = (TEXT, SEASON)  # columns in which nothing counts as never met
SHOWN = "lamps or code shown"  # a complaint that tells nothing beside the code itself


def wide(cause_example: pd.DataFrame) -> pd.DataFrame:
    """Spread training jobs into columns.

    Parameters
    ----------
    cause_example
        One row a cured episode: kind, make, model_family, age_years, symptoms and codes (lists of terms), findings
        (list of ``"finding=value"``), complaint (text as told at the call), first_visit_date.

    Returns
    -------
    Same rows and index: kind, make, model_family, age_years (years; NaN = not known), ``symptom: s`` ("yes", "no" when
    the complaint is known and does not name it; NaN when there is no complaint), ``code`` (the first one; "none" when a
    complaint came without a code), ``finding: f`` (the value; NaN = not looked at), season (of the first visit; NaN =
    no date). The caller's frame is not changed.
    """
    plain = cause_example[list(PLAIN)].copy()
    plain["age_years"] = pd.to_numeric(plain["age_years"], errors="coerce").astype(float)
    if "first_visit_date" in cause_example:
        month = pd.to_datetime(cause_example["first_visit_date"]).dt.month
        plain[SEASON] = (month % 12 // 3).map(dict(enumerate(QUARTERS))).astype(object)
    complaints = [
        beside_codes(symptoms, codes)
        for symptoms, codes in zip(cause_example["symptoms"], cause_example["codes"], strict=True)
    ]
    told = pd.Series(complaints, index=cause_example.index, dtype=object)
    pieces = [plain, _symptoms(told), _codes(cause_example), _findings(cause_example["findings"])]
    if TEXT in cause_example:
        pieces.append(cause_example[[TEXT]])
    return pd.concat(pieces, axis=1)


def beside_codes(symptoms: object, codes: object) -> list[str]:
    """Complaints that tell something beside the codes shown."""
    said = [str(one) for one in symptoms] if _has_entries(symptoms) else []  # type: ignore[attr-defined]
    return [one for one in said if one != SHOWN] if _has_entries(codes) else said


def season_of(day: dt.date | None) -> str | None:
    """Quarter of the year in which a day lies; jobs say what it means, so either half of the globe will do."""
    return None if day is None else QUARTERS[day.month % 12 // 3]


def _exploded(lists: pd.Series) -> pd.Series:
    """Entries of lists, one a row, keyed by position in the input."""
    return lists.reset_index(drop=True).explode().dropna().astype(str)


def _symptoms(lists: pd.Series) -> pd.DataFrame:
    said = _exploded(lists)
    names = sorted(said.unique())
    held = pd.crosstab(said.index, said) if len(said) else pd.DataFrame(index=[])
    held = held.reindex(index=range(len(lists)), columns=names)
    spelt = held.gt(0).astype(object).replace({True: "yes", False: "no"}).where(held.notna())
    return spelt.add_prefix(SYMPTOM).set_axis(lists.index, axis=0)


def _codes(cause_example: pd.DataFrame) -> pd.DataFrame:
    codes = _exploded(cause_example["codes"]).groupby(level=0).first().reindex(range(len(cause_example))).astype(object)
    has_complaint = cause_example["symptoms"].map(_has_entries).to_numpy()
    return codes.where(codes.notna() | ~has_complaint, "none").set_axis(cause_example.index).rename(CODE).to_frame()


def _has_entries(entries: object) -> bool:
    return isinstance(entries, str) or (entries is not None and hasattr(entries, "__len__") and len(entries) > 0)


def _findings(lists: pd.Series) -> pd.DataFrame:
    seen = _exploded(lists)
    if seen.empty:
        return pd.DataFrame(index=lists.index)
    parted = seen.str.partition("=")
    table = pd.DataFrame(
        {"row": seen.index, "finding": parted[0].str.strip().to_numpy(), "value": parted[2].str.strip().to_numpy()}
    )
    table = table.drop_duplicates(["row", "finding"], keep="last")
    spread = table.pivot(index="row", columns="finding", values="value").astype(object)
    spread.columns.name = None
    return spread.reindex(range(len(lists))).sort_index(axis=1).add_prefix(FINDING).set_axis(lists.index, axis=0)


def questions(asked: Sequence[Mapping[str, Any]], known_columns: Iterable[str] = ()) -> pd.DataFrame:
    """Build the X of several questions, one row a question.

    Parameters
    ----------
    asked
        Of each question: kind, make, model_family, age_years (None = not known), symptoms (terms of the complaint),
        codes shown, findings (finding → value), and, where there is one, complaint, the text as told, and on, the day
        of the visit.
    known_columns
        Columns of the model (``column.name for column in model.columns``), so that complaints not named are told as
        such.
    """
    complaints = [name for name in known_columns if name.startswith(SYMPTOM)]
    rows = []
    for one in asked:
        shown = list(one["codes"])
        named = beside_codes(list(one["symptoms"]), shown)
        row = {name: one[name] for name in PLAIN}
        if named:
            row |= dict.fromkeys(complaints, "no") | {SYMPTOM + symptom: "yes" for symptom in named}
        row[TEXT] = one.get(TEXT) or None
        row[SEASON] = season_of(one.get("on"))
        row[CODE] = shown[0] if shown else ("none" if named else None)
        rows.append(row | {FINDING + finding: value for finding, value in (one["findings"] or {}).items()})
    frame = pd.DataFrame(rows, dtype=object)
    frame["age_years"] = frame["age_years"].astype(float)
    return frame

"""The word lists as tidy frames, for the database, the plan and the van list."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pipeline.words.lists import LISTS, OUTCOMES

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from pipeline.words.lists import Row, WordLists


JOINT = "joint"  # origin of a part that a cause does not need by itself


def _frame(rows: Sequence[Row], columns: Sequence[str], numbers: Sequence[str] = ()) -> pd.DataFrame:
    import pandas as pd

    table = pd.DataFrame([[row.get(column) or "" for column in columns] for row in rows], columns=list(columns))
    for column in numbers:
        table[column] = pd.to_numeric(table[column].replace("", None))
    return table


def faults(lists: WordLists) -> pd.DataFrame:
    """Give causes by kind and complaint; lists within a cell are split by |, minutes are missing for "fit a part".

    cautions are those of the action, empty = those of the parts; confirmed_by is "nothing" where no check shows it.
    """
    columns = (
        "kinds",
        "symptoms",
        "cause",
        "parts",
        "share",
        "action",
        "minutes",
        "expected",
        "cautions",
        "confirmed_by",
        "origin",
    )
    return _frame(lists.faults, columns, ("share", "minutes"))


def checks(lists: WordLists) -> pd.DataFrame:
    """Give checks with their values and kinds (split by |), minutes, and the states they need.

    power: needed, off or any; covers: on, off or any; water: in, out or any (`models.plan.machine`); anyone: "yes"
    where the customer could see or turn it, without tools.
    """
    columns = (
        "check", "finding", "values", "kinds", "minutes", "power", "covers", "water", "access", "anyone", "cautions",
        "origin",
    )  # fmt: skip
    return _frame(lists.checks, columns, ("minutes",))


def parts(lists: WordLists) -> pd.DataFrame:
    """Give parts with price (money), minutes to fit, and ``by_eye``, the share of good ones a look knows as good.

    Missing = not known.
    """
    columns = ("part", "price", "minutes", "by_eye", "cautions", "origin")
    return _frame(lists.parts, columns, ("price", "minutes", "by_eye"))


def cautions(lists: WordLists) -> pd.DataFrame:
    """Give cautions and their text."""
    return _frame(lists.cautions, ("caution", "text"))


def kinds(lists: WordLists) -> pd.DataFrame:
    """Give kinds of appliance, their cautions, and whether they are taken to a workshop (``to_workshop``)."""
    return _frame(lists.kinds, ("kind", "cautions", "to_workshop", "origin"))


def terms(lists: WordLists) -> pd.DataFrame:
    """Give every term once with where it comes from; shipped wins over the workshop's own list, that over review."""
    import pandas as pd

    rows = [("kind", row["kind"], row["origin"]) for row in lists.kinds]
    rows += [("complaint", row["symptom"], row["origin"]) for row in lists.symptoms]
    rows += [("cause", row["cause"], row["origin"]) for row in lists.faults]
    rows += [("finding", row["finding"], row["origin"]) for row in lists.checks]
    rows += [("part", row["part"], row["origin"]) for row in lists.parts]
    rows += [("outcome", outcome, "shipped") for outcome in OUTCOMES]
    for phrases in (*lists.cells.values(), *lists.phrases.values()):
        for phrase in phrases:
            name = {"symptom": "complaint", "thing": "finding"}.get(phrase.group, phrase.group)
            if phrase.origin != "shipped" and name in LISTS:
                rows.append((name, phrase.term, phrase.origin))
    table = pd.DataFrame(rows, columns=["list", "term", "origin"])
    table["rank"] = table["origin"].map({"shipped": 0, "workshop list": 1, "review": 2})
    table = table.sort_values(["list", "term", "rank"], kind="stable").drop_duplicates(["list", "term"])
    return table.drop(columns="rank").reset_index(drop=True)


def cures(lists: WordLists) -> pd.DataFrame:
    """Give what cures what: one row a kind, cause and part; part missing = cured without one.

    Origin *joint*: the part cures a cause that holds this one, and may have been needed beside it.
    """
    import pandas as pd

    every = [row["kind"] for row in lists.kinds]
    kinds_of: dict[str, set[str]] = {}
    for row in lists.faults:
        kinds_of.setdefault(row["cause"], set()).update(kind for kind in row["kinds"].split("|") if kind)
    rows = []
    for row in lists.faults:
        held = [kind for kind in row["kinds"].split("|") if kind] or sorted(kinds_of[row["cause"]]) or every
        for kind in held:
            for part in row["parts"].split("|") if row["parts"] else [None]:
                rows.append((kind, row["cause"], part, row["origin"]))
    parts_of = {
        cause: [(kind, part) for kind, of, part, _ in rows if of == cause and part] for cause in lists.joint_causes
    }
    for cause, held_by in lists.joint_causes.items():
        rows += [(kind, other, part, JOINT) for other in sorted(held_by) for kind, part in parts_of[cause]]
    table = pd.DataFrame(rows, columns=["kind", "cause", "part", "origin"])
    return table.drop_duplicates(["kind", "cause", "part"]).reset_index(drop=True)


def symptoms(lists: WordLists) -> pd.DataFrame:
    """Give complaints: whether a repair ``shows`` at once or later, and which complaints each ``stops`` (split by |).

    A machine that cannot do the one cannot be judged for those it stops.
    """
    return _frame(lists.symptoms, ("symptom", "shows", "stops")).drop_duplicates("symptom").reset_index(drop=True)


def symptom_groups(lists: WordLists) -> pd.DataFrame:
    """Give the group of each complaint."""
    return _frame(lists.symptoms, ("symptom", "symptom_group")).drop_duplicates("symptom").reset_index(drop=True)

"""What one line of an unknown export is: a visit, a part, an invoice's line, a job with several visits, a ticket."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

from pipeline.errors import shown
from pipeline.load.column_evidence import Column, header_score
from pipeline.load.layout import LABOUR_ITEMS, OF_A_NOTE, OTHER_ITEMS, Layout, Rule
from pipeline.read.incoming import plain_name

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from pipeline.words import Words

MOST = 0.5  # of the texts of a column show a shape
LIST_SHARE = 0.8  # of the cells of a column are lists of objects
NO_PARTS_SHARE = 0.02  # of the items are labour, carriage or tax
WORDS_OF_A_NOTE = 5  # a shorter text tells no story
NAMED = 0.6  # a label or a column's name names a field so well
ORDINAL = re.compile(
    r"\b(?:[1-9](?:st|nd|rd|th)?|first|second|third|fourth|next|further|follow ?up|return|"
    r"erster?|zweiter?|dritter?|vierter?|weiterer?|folge)\b"
)
LABEL = re.compile(r"(?:^|[\s.;,|/]+)([^\W\d_][^\W\d_ ]{1,18}(?: [^\W\d_]{2,12})?)\s*[:=]\s*\S")
SECTIONS = ("complaint", "findings", "cause", "work_done", "parts", "outcome", "fault_code", "age")


def list_column(columns: Sequence[Column]) -> str | None:
    """Name the column whose cells are lists of objects."""
    for column in columns:
        if len(column.written) and column.share(r"^\s*\[\s*\{") >= LIST_SHARE:
            return column.name
    return None


def visit_columns(columns: Sequence[Column], lines: int) -> list[str]:
    """Name the columns of a job's first, second, … visit: alike but for the number, days, and less and less filled."""
    alike: dict[str, list[Column]] = {}
    for column in columns:
        name = plain_name(column.name)
        stem = " ".join(ORDINAL.sub(" ", name).split())
        if len(column.written) and column.share_dates >= 0.9 and not column.names_another_day:
            alike.setdefault(stem, []).append(column)
    for stem, found in alike.items():
        numbered = [c for c in found if stem != plain_name(c.name)]
        filled = [len(c.written) for c in found]
        is_emptier = all(a > b for a, b in pairwise(filled))
        if len(found) >= 2 and len(numbered) >= len(found) - 1 and is_emptier and filled[0] >= 0.9 * lines:
            return [c.name for c in found]
    return []


def is_invoice(items: Column) -> bool:
    """Tell whether among the items of the lines are labour, carriage or tax."""
    forms = "|".join(re.escape(word) for word in (*LABOUR_ITEMS, *OTHER_ITEMS))
    return items.share(rf"(?i)(?:^|\W)(?:{forms})(?:\W|$)") >= NO_PARTS_SHARE


def with_sections(layout: Layout, columns: Sequence[Column]) -> tuple[Layout, list[str]]:
    """Take the labelled sections of a note ("Found: …") for the fields that their labels name."""
    notes: list[str] = []
    for column in columns:
        if column.words_a_value < 4:
            continue
        labels = Counter(
            label.casefold() for text in column.first for label in {m.strip() for m in LABEL.findall(text)}
        )
        found: dict[str, str] = {}
        for label, count in labels.most_common(12):
            best = max(SECTIONS, key=lambda f: header_score(label, f))
            if count >= MOST * len(column.first) and header_score(label, best) >= NAMED and best not in found:
                found[best] = label
        if len(found) < 2:
            continue
        kept = {f: rules for f, rules in layout.columns.items() if all(r.column != column.name for r in rules)}
        kept |= {f: (Rule(column.name, label=label),) for f, label in found.items()}
        layout = replace(layout, columns=kept)
        said = ", ".join(f"{label} = {f}" for f, label in found.items())
        notes.append(f"{column.name} holds several sections: {said}")
    return layout, notes


def with_running_notes(layout: Layout, columns: Sequence[Column], words: Words) -> tuple[Layout, list[str]]:
    """Take what no other column holds from notes that tell complaint, finding and work in one running text."""
    from pipeline.load.personal_data import mask_contacts
    from pipeline.words.running_note import share_of_running, tell_apart

    taken = {f: rules[0] for f, rules in layout.columns.items()}
    long = [c for c in columns if c.words_a_value >= WORDS_OF_A_NOTE and c.name not in _taken_otherwise(taken)]
    share, column = max(((share_of_running(words, c.first), c) for c in long), key=lambda p: p[0], default=(0.0, None))
    if column is None or share < MOST or not _may_complain(taken.get("complaint"), column, columns, words):
        return layout, []
    fields = [f for f in OF_A_NOTE if f == "complaint" or f not in taken or taken[f].column == column.name]
    kept = {f: rules for f, rules in layout.columns.items() if rules[0].column != column.name and f not in fields}
    layout = replace(layout, columns=kept | {f: (Rule(column.name, running=True),) for f in fields})
    told = tell_apart(words, column.first)[[OF_A_NOTE[f] for f in fields]].set_axis(fields, axis=1)
    example = told.iloc[int(told.notna().sum(axis=1).to_numpy().argmax())].dropna()
    said = "; ".join(f"{f}: {shown(text, 60)}" for f, text in zip(example.index, mask_contacts(example), strict=True))
    return layout, [f"{column.name} is a running note of {', '.join(fields)}, told apart by its words: {said}"]


def _taken_otherwise(taken: Mapping[str, Rule]) -> set[str]:
    """Name the columns that are no notes: of a field that no note speaks of, or taken apart by labels."""
    return {rule.column for f, rule in taken.items() if f not in OF_A_NOTE or rule.label is not None}


def _may_complain(rule: Rule | None, note: Column, columns: Sequence[Column], words: Words) -> bool:
    """Tell whether no column but the note holds the complaints."""
    if rule is None or rule.column == note.name:
        return True
    held = next(column.first for column in columns if column.name == rule.column)
    said = words.find_symptoms(held, held.where(held.isna()))["row"].nunique() / max(1, len(held))
    return bool(said < MOST)


def with_found_words(layout: Layout, columns: Sequence[Column], words: Words) -> tuple[Layout, list[str]]:
    """Take kind and make out of a text that names them, where no column is theirs."""
    notes = []
    for f, name in (("appliance_kind", "kind"), ("make", "make")):
        if f in layout.columns:
            continue
        forms = sorted({form for pair in words.written_forms(name) for form in pair if len(form) > 1}, key=len)
        if not forms:
            continue
        pattern = rf"(?i)(?:^|[\W_])(?:{'|'.join(re.escape(form) for form in reversed(forms))})(?:[\W_]|$)"
        shares = [(column.share(pattern), column) for column in columns if column.words_a_value >= 2]
        share, column = max(shares, key=lambda pair: pair[0], default=(0.0, None))
        if column is not None and share >= MOST:
            layout = replace(layout, columns={**layout.columns, f: (Rule(column.name, find=True),)})
            notes.append(f"{f} is looked for in the text of {column.name}: {share:.0%} of the lines looked at name one")
    return layout, notes

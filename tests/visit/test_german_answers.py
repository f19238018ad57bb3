"""A German workshop is answered in German: whatever is asked, no English word of the lists or the catalogue is left."""

from __future__ import annotations

import csv
import dataclasses
import html
import re
import tomllib
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest

import pipeline
import reports
from pipeline import Workshop
from pipeline.visit.answer import Answer
from pipeline.words.appliance import about
from reports.render.wording import Wording

LISTS = Path(pipeline.__file__).parent / "words" / "en"
LANGUAGES = Path(reports.__file__).parent / "languages"
SHOWN = ("answer", "visit", "round")
WORD = re.compile(r"[^\W\d_]+(?:-[^\W\d_]+)*")
COLUMNS = {
    "kinds": ("kind",),
    "symptoms": ("symptom",),
    "faults": ("cause", "action"),
    "checks": ("check", "finding", "values"),
    "parts": ("part",),
    "cautions": ("caution", "text"),
}


def texts(value: Any) -> Iterator[str]:
    if isinstance(value, Mapping):
        for inner in value.values():
            yield from texts(inner)
    elif isinstance(value, str):
        yield re.sub(r"\{\w*\}", " ", value)


def catalogue(language: str) -> dict[str, Any]:
    return tomllib.loads((LANGUAGES / f"{language}.toml").read_text(encoding="utf-8"))


def listed() -> dict[str, set[str]]:
    """What the English lists say, by column."""
    said: dict[str, set[str]] = {}
    for name, columns in COLUMNS.items():
        with (LISTS / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file):
                for column in columns:
                    said.setdefault(column, set()).update(row[column].split("|"))
    return said


def words_of(several: Iterator[str] | set[str]) -> set[str]:
    return {word.lower() for text in several for word in WORD.findall(text)}


@pytest.fixture(scope="module")
def english() -> set[str]:
    """Words that only English says: those of the lists and sentences that no German entry has."""
    said = words_of({text for column in listed().values() for text in column})
    said |= words_of(text for section in SHOWN for text in texts(catalogue("en")[section]))
    return said - words_of(texts(catalogue("de")))


@pytest.fixture(scope="module")
def workshop(workshop: Workshop) -> Iterator[Workshop]:
    """The shared one, for this file with German settings."""
    usual = workshop.settings
    workshop.settings = dataclasses.replace(usual, locale="de", currency="EUR")
    yield workshop
    workshop.settings = usual


def left(text: str, english: set[str], workshop: Workshop) -> set[str]:
    """English words in a text; causes that only this workshop's records know stay as it writes them."""
    shipped = listed()["cause"]
    rows = workshop.database.connection.execute("select distinct cause from cause_example").fetchall()
    for (own,) in rows:
        if own not in shipped:
            text = text.replace(own, "")
    text = re.sub(r"priorjobs \w+|--\w+", "", text)
    return words_of({text}) & english


def read(asked: Answer) -> str:
    """The lines of an answer without what it quotes as not understood."""
    return "\n".join(line for line in asked.lines() if not line.startswith("Nicht verstanden"))


def test_every_term_of_the_lists_has_german_words() -> None:
    tables = catalogue("de")
    for column, terms in listed().items():
        table = {"finding": "findings", "values": "values", "text": "caution_texts"}.get(column, "terms")
        made = ("fit ",) if column == "action" else ()
        missing = {term for term in terms if term and term not in tables[table] and not term.startswith(made)}
        assert not missing, (column, sorted(missing))


def test_a_finding_that_no_past_job_had_is_told_in_german() -> None:
    page, tables = Wording("de"), catalogue("de")
    for finding in listed()["finding"]:
        german = {tables["findings"][finding], tables["terms"].get(finding)}
        assert page.term(f"new finding ({finding})") in {f"neuer Befund ({one})" for one in german}


def test_answers_of_every_kind_are_german(workshop: Workshop, english: set[str]) -> None:
    for kind in workshop.words.kinds()["kind"]:
        for complaint in list(about(workshop.words, kind).shares)[:1]:
            assert not left(read(workshop.causes(kind=kind, complaint=complaint)), english, workshop), (kind, complaint)


@pytest.mark.parametrize(
    "call",
    [
        {"kind": "cooker", "complaint": "smell of gas"},
        {"kind": "fridge", "complaint": "lost its refrigerant"},
        {"kind": "electric oven", "complaint": "not heating", "found": ["element=to earth"]},
        {"kind": "electric hob", "complaint": "glass cracked"},
        {"kind": "washing machine", "complaint": "?"},
        {"kind": "wine cooler", "complaint": "too cold"},
        {"kind": "washing machine", "complaint": "not draining, not spinning, not leaking, suds in it", "age": "8m"},
        {
            "kind": "washing machine",
            "complaint": "sometimes not draining",
            "found": ["water left=no", "water left=yes"],
        },
        {"kind": "washing machine", "complaint": "dead", "found": ["no water in drum", "coloour=blue"]},
        {"kind": "washing machine", "complaint": "not draining", "make": "Nobody", "model": "ZZ1", "code": "X99"},
    ],
    ids=lambda call: f"{call['kind']}, {call.get('complaint', '')}",
)
def test_special_answers_are_german(workshop: Workshop, english: set[str], call: dict[str, Any]) -> None:
    text = re.sub(r"„[^“]*“", "", read(workshop.causes(**call)))
    for own in ("coloour: blue", "Nobody"):
        text = text.replace(own, "")
    assert not left(text, english, workshop)


def test_a_known_unit_is_told_of_in_german(workshop: Workshop, english: set[str]) -> None:
    (row,) = workshop.database.connection.execute(
        "select a.serial, v.kind, v.complaint from appliance as a join visit as v using (appliance_id) "
        "where a.serial is not null and v.complaint is not null order by v.visit_date desc, v.visit_id limit 1"
    ).fetchall()
    serial, kind, written = row
    lines = workshop.causes(kind=kind, serial=serial).lines()
    assert any("Dieses Gerät: " in line for line in lines)
    assert not left("\n".join(lines).replace(written, ""), english, workshop)


def test_a_visit_step_by_step_is_german(workshop: Workshop, english: set[str]) -> None:
    for key in ("1", "2", "0"):
        said: list[str] = []
        pressed = iter([*[key] * 6, "f zzz", "q"])

        def ask(prompt: str, said: list[str] = said, pressed: Iterator[str] = pressed) -> str:
            said.append(prompt)
            return next(pressed, "q")

        workshop.converse(kind="washing machine", complaint="not draining", ask=ask, say=said.append)
        text = "\n".join(line for line in said if not line.startswith("Eintrag: ")).replace("f zzz", "")
        assert "WEITER: " in text
        assert not left(text, english, workshop)


def test_visit_sheets_are_german(workshop: Workshop, english: set[str], tmp_path: Path, short_trees: None) -> None:
    calls = tmp_path / "calls.csv"
    calls.write_text(
        "job_no,visit_date,appliance_kind,complaint,findings\n"
        "T1,2026-11-27,washing machine,,water left=no\n"
        "T1,2026-11-27,fridge,,door closes=loose\n"
        "T3,2026-11-27,gas hob,,\n"
        "T4,2026-11-27,electric oven,,element=to earth\n"
        "T5,2026-11-27,,,\n"
        "T6,2026-11-27,heat-pump dryer,,\n",
        encoding="utf-8",
    )
    workshop.round(calls, tmp_path / "round.html")
    page = (tmp_path / "round.html").read_text(encoding="utf-8")
    assert '<html lang="de">' in page
    shown = re.sub(r"<(script|style)\b.*?</\1>", "", page, flags=re.DOTALL)
    text = html.unescape(re.sub(r"<[^>]*>", " ", shown))
    assert "Wasser steht: nein" in text
    assert not left(text, english, workshop)

"""A German workshop's pages: the answer and a visit step by step in German, whatever is English beneath."""

from __future__ import annotations

import html
import re
import shutil
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from pipeline import Workshop
from tests.browser.conftest import Browser, served
from tests.worlds import visit_workshop

CALL = {"kind": "washing machine", "complaint": "sometimes not draining", "age": "3"}


@pytest.fixture
def german(tmp_path: Path) -> tuple[Browser, Path]:
    library = shutil.copytree(visit_workshop.folder(), tmp_path / "shop") / "workshop.duckdb"
    library.with_name("workshop.toml").write_text('locale = "de"\ncurrency = "EUR"\n', encoding="utf-8")
    return Browser(served(library)), library


def shown(response: Any) -> str:
    """What a person reads of a page."""
    text = re.sub(r"<(script|style|datalist|textarea)\b.*?</\1>", "", response.text, flags=re.DOTALL)
    return html.unescape(re.sub(r"<[^>]*>", " ", text))


def english_of(library: Path) -> set[str]:
    """Terms and sentences of the English answer to the same call that a German page must not hold."""
    with Workshop.open(library, read_only=True) as workshop:
        told, listed = workshop.causes(**CALL).as_json(), set(workshop.words.faults()["cause"])
    said = ({row["cause"] for row in told["causes"]} & listed) | set(told["cautions"])
    for step in told["steps"]:
        said |= {step["name"], step["given"], step["tells"]}
    said |= {told["evidence"]["note"], *told["remarks"], *(row["text"] for row in told["advice"])}
    return said - {""}


def test_the_answer_and_the_visit_hold_nothing_of_the_english_answer(german: tuple[Browser, Path]) -> None:
    browser, library = german
    page = shown(browser.get("/ask", query_string=CALL))
    assert "Waschmaschine; 3 Jahre alt; pumpt nicht ab" in page
    assert not [text for text in english_of(library) if text in page]
    at = browser.get("/visit", query_string=CALL).location
    for key in ("1", "2", "0"):
        step = shown(browser.get(at))
        assert not [text for text in english_of(library) if text in step]
        assert "cannot tell" not in step and "not cured" not in step
        at = browser.post(f"{at}press", {"key": key}).location


def test_faults_and_the_month_are_told_in_german(german: tuple[Browser, Path]) -> None:
    browser, _ = german
    browser.get("/records")
    page = shown(browser.post("/records", {}))
    assert "Es wurde keine Datei geschickt." in page and "No file" not in page
    assert "Noch kein Modell gelernt" in shown(browser.get("/learned"))
    assert "ist kein gültiger Monat" in shown(browser.get("/month?month=2025-77"))


def test_every_kind_that_is_offered_is_understood(german: tuple[Browser, Path]) -> None:
    browser, library = german
    offered = re.findall(r'<option value="([^"]+)">', browser.get("/ask").text)
    assert "Waschmaschine" in offered
    with Workshop.open(library, read_only=True) as workshop:
        read = workshop.words.match("kind", pd.Series(map(html.unescape, offered), dtype="str"))
        assert read["term"].tolist() == workshop.words.kinds()["kind"].tolist()

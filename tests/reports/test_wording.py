"""Languages of the report: no gap missing or invented, numbers, dates and money by locale."""

from __future__ import annotations

import ast
import datetime as dt
import re
import tomllib
from pathlib import Path
from types import SimpleNamespace
from typing import get_args

import pytest

import models
import pipeline
import reports
from pipeline.call.word_account import HOW
from pipeline.month.month import month_report
from pipeline.on_site.step_by_step import What
from pipeline.settings import Settings
from pipeline.words.customer_remarks import notes_of
from pipeline.words.lists import SHIPPED, many, read_table
from reports.render.wording import NO_BREAK, Wording, languages
from tests.worlds.report_workshop import made_workshop

CATALOGUES = {
    path.stem: tomllib.loads(path.read_text(encoding="utf-8"))
    for path in (Path(reports.__file__).parent / "languages").glob("*.toml")
}
OTHERS = sorted(set(CATALOGUES) - {"en"})
FREE = ("terms", "caution_texts", "made_terms", "messages", "findings", "values", "numbers", "dates")


def gaps(entry: str | dict[str, str]) -> set[str]:
    texts = entry.values() if isinstance(entry, dict) else [entry]
    return {gap for text in texts for gap in re.findall(r"\{(\w*)\}", text)}


def test_english_and_one_more_are_there() -> None:
    assert languages() == sorted(CATALOGUES) and {"en", "de"} <= set(CATALOGUES)


@pytest.mark.parametrize(
    ("share", "decimals", "written"), [(0.996, 0, "99%"), (1.0, 0, "100%"), (0.9996, 1, "99.9%"), (0.994, 0, "99%")]
)
def test_less_than_all_is_not_written_as_all(share: float, decimals: int, written: str) -> None:
    assert Wording("en", "GBP").percent(share, decimals) == written


@pytest.mark.parametrize("language", OTHERS)
def test_translation_has_the_gaps_and_forms_of_the_english(language: str) -> None:
    for section, entries in CATALOGUES[language].items():
        if section in FREE:
            continue
        for name, entry in entries.items():
            english = CATALOGUES["en"][section][name]
            assert isinstance(entry, dict) == isinstance(english, dict), (section, name)
            assert gaps(entry) <= gaps(english), (section, name)
            if isinstance(entry, dict):
                assert set(entry) == {"one", "other"}


@pytest.mark.parametrize("language", OTHERS)
def test_nothing_the_page_says_is_left_untranslated(language: str) -> None:
    missing = [
        f"{section}.{name}"
        for section, entries in CATALOGUES["en"].items()
        if section not in FREE
        for name in entries
        if name not in CATALOGUES[language].get(section, {})
    ]
    assert missing == []


def said_in_code() -> set[str]:
    """Texts of the code as they are written, each gap of one as {}."""
    texts = set()
    for path in (p for room in (pipeline, models) for p in Path(room.__file__).parent.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                texts.add(node.value)
            if isinstance(node, ast.JoinedStr):
                pieces = (piece.value if isinstance(piece, ast.Constant) else "{}" for piece in node.values)
                texts.add("".join(str(piece) for piece in pieces))
    return texts


@pytest.mark.parametrize("language", sorted(CATALOGUES))
def test_messages_are_those_that_the_code_says(language: str) -> None:
    messages = CATALOGUES[language]["messages"]
    assert sorted(set(messages) - said_in_code()) == []
    for english, says in messages.items():
        written = [f"<{number}>" for number in range(english.count("{}"))]
        assert all(one in says.format(*written) for one in written), english


def test_a_message_keeps_what_changes_in_it() -> None:
    german = Wording("de", "EUR")
    assert german.message("No file a <b>.csv waits here.") == "Hier wartet keine Datei a <b>.csv."
    assert german.message("A sentence nobody translated.") == "A sentence nobody translated."
    assert Wording("en", "GBP").message("No file x waits here.") == "No file x waits here."


@pytest.mark.parametrize("language", sorted(CATALOGUES))
def test_pages_have_words_for_all_that_a_call_can_tell_and_a_visit_can_meet(language: str) -> None:
    page = Wording(language)
    named = [f"how_{how}" for how in HOW] + [f"did_{what}" for what in get_args(What)]
    assert all(page.say(f"open.{name.replace(' ', '_')}") for name in named)
    rows = [row["says"] for path in SHIPPED.glob("*/told.csv") for row in read_table(path)]
    notes = {note for says in rows for note in notes_of(tuple(many(says)))} - {"neither"}
    assert len(notes) > 20
    assert [note for note in sorted(notes) if language != "en" and page.term(note) == note] == []


def test_every_entry_is_used() -> None:
    code = "".join(
        path.read_text(encoding="utf-8")
        for folder, pattern in (
            (reports, "*/*.py"),
            (pipeline, "*/*.py"),
            (reports, "templates/*.html"),
            (reports, "templates/*.js"),
            (reports, "templates/browser/*.html"),
        )
        for path in Path(folder.__file__).parent.glob(pattern)
    )
    built = (
        "page.print",
        "advice.on_",
        "ages.by_",
        "ages.label_",
        "columns.",
        "definitions.",
        "figure.basis_",
        "quality.",
        "open.ask_",
        "open.doing_",
        "open.field_",
        "open.score_",
        "open.view_",
        "open.did_",
        "open.how_",
        "open.list_",
        "open.part_",
        "round.head_",
        "sections.",
        "sentence.before_",
        "sentence.in_",
        "sheets.",
        "technicians.",
        "adopted.",
        "branches.",
        "advice.trend_",
        "fix.title_",
        "callbacks.title_",
        "ages.title_",
    )
    unused = [
        f"{section}.{name}"
        for section, entries in CATALOGUES["en"].items()
        if section not in FREE
        for name in entries
        if f"{section}.{name}" not in code
        and f"words.{name}" not in code
        and not re.search(rf"[\"']{name}[\"']", code)
        and not f"{section}.{name}".startswith(built)
    ]
    assert unused == []


@pytest.mark.parametrize(
    ("language", "currency", "amount", "written"),
    [
        ("en", "GBP", 1840.4, "£1,840"),
        ("en", "GBP", 34.5, "£34.50"),
        ("en", "GBP", -1250, "−£1,250"),
        ("de", "EUR", 1840.4, "1.840 €"),
        ("de", "EUR", 34.5, "34,50 €"),
        ("en", "SEK", 99, "SEK 99"),
        ("de", "SEK", 99, "99 SEK"),
        ("en", "GBP", float("nan"), "–"),
    ],
)
def test_money_by_locale(language: str, currency: str, amount: float, written: str) -> None:
    assert Wording(language, currency).money(amount).replace(NO_BREAK, " ") == written


def test_dates_and_shares_by_locale() -> None:
    day = dt.date(2026, 3, 7)
    assert (Wording("en").date(day), Wording("de").date(day)) == ("7 Mar 2026", "7. Mär 2026")
    assert (Wording("en").month(day), Wording("de").month(day)) == ("March 2026", "März 2026")
    assert (Wording("en").percent(0.745, 1), Wording("de").percent(0.745, 1)) == ("74.5%", f"74,5{NO_BREAK}%")
    assert Wording("de").number(1234567.891, 2) == "1.234.567,89"


def test_one_and_other() -> None:
    assert Wording("en").say("units.days", n=1) == "1 day"
    assert Wording("en").say("units.days", n=1200) == "1,200 days"


def test_unknown_language_and_unknown_entry_are_refused() -> None:
    with pytest.raises(ValueError, match="there is no catalogue for 'xx'"):
        Wording("xx")
    with pytest.raises(KeyError):
        Wording("en").say("page.no_such_entry")


def test_german_page_is_german(tmp_path: Path) -> None:
    connection = made_workshop(600)
    view = {"out": tmp_path / "r.html", "language": "de"}
    html = month_report(
        SimpleNamespace(connection=connection, path=None), Settings(currency="EUR"), "2026-08", **view
    ).html
    assert '<html lang="de">' in html and "Beim ersten Einsatz behoben" in html and "Waschmaschine" in html
    shown = re.sub(r"<(script|style)\b.*?</\1>", "", html, flags=re.DOTALL)
    shown = re.sub(r"<[^>]*>", " ", shown)
    for english in (
        "Fixed at the first visit",
        "washing machine",
        "What to do",
        "Show the figures",
        "provisional",
        "£",
    ):
        assert english not in shown

"""Under which spellings a customer's name is found, and under which it is another's."""

from __future__ import annotations

import unicodedata

import duckdb
import pytest

from pipeline.upkeep.written_name import pattern_of_files, pattern_of_sql

ONE_NAME = [
    ("Zo\u00e9 O'Wei\u00df", "ZOE\u0301 O\u2019WEISS"),
    ("Weiss", "wei\u00df"),
    ("WEISS", "Wei\u1e9e"),
    ("Griffith-Flynn", "Gri\ufb03th\u2010\ufb02ynn"),
    ("Gri\ufb00ith", "Griffith"),
    ("Ann Example", "\uff21\uff4e\uff4e\u3000\uff25\uff58\uff41\uff4d\uff50\uff4c\uff45"),
    ("\uff21nn Example", "ann  example"),
    ("Ann Example", "ANN\u00a0EXAMPLE"),
    ("Ann Example", "Ann\tExample's"),
    ("D'Arcy", "D\u00b4Arcy"),
    ("J\u00fcrgen B\u00e4cker", "JUERGEN  BAECKER"),
    ("Goethe-M\u00f6ller", "G\u00f6the-Moeller"),
    ("Mueller", "\uff2d\uff55\uff45\uff4c\uff4c\uff45\uff52"),
    ("Ann Example", "A\u00adnn Exam\u200bple"),
    ("a.b*c(d", "A.B*C(D"),
    ("\u0141ukasz \u017b\u00f3\u0142\u0107", "\u0142UKASZ Z\u0307O\u0301\u0142C\u0301"),
    ("\u0391\u03bd\u03bd\u03b1", "\u0391\u039d\u039d\u0391"),
]
OTHERS = [
    ("Ann Example", "Annabel Example"),
    ("Ann Example", "Ann Examples"),
    ("Zoe", "Zo\u00eb"),
    ("Zoe", "Zoe\u0308"),
    ("a.b", "aXb"),
    ("Weiss", "Weise"),
    ("M\u00fcller", "Muller"),
]


def finds(name: str, text: str) -> tuple[bool, bool]:
    in_tables = duckdb.execute("select regexp_matches(?, ?)", [f"(ring {text})", pattern_of_sql(name)]).fetchall()
    return in_tables[0][0], pattern_of_files(name).search(f"(ring {text})") is not None


@pytest.mark.parametrize(("name", "text"), ONE_NAME)
def test_a_name_is_found_in_tables_and_files_however_it_is_spelt(name: str, text: str) -> None:
    for form in ("NFC", "NFD", "NFKC", "NFKD"):
        assert finds(name, unicodedata.normalize(form, text)) == (True, True), form
        assert finds(unicodedata.normalize(form, name), text) == (True, True), form


@pytest.mark.parametrize(("name", "text"), OTHERS)
def test_another_name_is_not_taken_for_it(name: str, text: str) -> None:
    assert finds(name, text) == (False, False)

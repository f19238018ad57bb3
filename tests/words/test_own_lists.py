"""A workshop's own word lists extend the shipped ones; faults in them name file, line, value and remedy."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from pipeline.errors import LayoutError
from pipeline.words import Words

OWN = """
[[kind]]
term = "wine cooler"
written = ["wine fridge"]
cautions = ["isolate"]

[[complaint]]
term = "does not drain"
written = ["gurgles away"]

[[complaint]]
term = "sings"
written = ["yodels"]

[[cause]]
term = "blocked lint chute"
written = ["chute full"]
kinds = ["tumble dryer"]
symptoms = ["takes too long"]
parts = ["chute kit"]
action = "clear lint chute"
minutes = 15

[[part]]
term = "drain pump"
written = ["PMP-204"]
price = 31.5

[[finding]]
term = "lint chute"
check = "look into lint chute"
kinds = ["tumble dryer"]
minutes = 4
[finding.values]
blocked = ["stuffed"]
clear = ["free"]

[[outcome]]
term = "fixed"
written = ["hunky dory"]

[[make]]
term = "Ostrel"
written = ["ostrel limited"]

[ignore]
words = ["tidewell"]

[codes.quendle]
letter = "H"
[codes.quendle.table]
"door" = "H90"
"lamps 4 + 1" = "H07"
"""


@pytest.fixture
def own(tmp_path: Path) -> Words:
    path = tmp_path / "our-words.toml"
    path.write_text(OWN, encoding="utf-8")
    return Words.load(extra=[path])


def one(words: Words, name: str, written: str, kind: str = "washing machine") -> list[object]:
    found = words.match(name, pd.Series([written]), pd.Series([kind]))
    return found[["term", "is_understood"]].values.tolist()[0]


def test_own_terms_are_understood(own: Words) -> None:
    assert one(own, "kind", "Wine Fridge") == ["wine cooler", True]
    assert one(own, "part", "PMP-204") == ["drain pump", True]
    assert one(own, "outcome", "hunky dory") == ["fixed", True]
    assert one(own, "make", "OSTREL limited") == ["Ostrel", True]
    assert one(own, "cause", "poss chute full", "tumble dryer") == ["blocked lint chute", True]
    said = own.find_symptoms(pd.Series(["gurgles away", "not yodelling, yodels"]), pd.Series(["washing machine"] * 2))
    assert said["symptom"].tolist() == ["does not drain", "sings"]
    found = own.find_findings(pd.Series(["lint chute=stuffed", "lint chute free"]), pd.Series(["tumble dryer"] * 2))
    assert found["value"].tolist() == ["blocked", "clear"]
    assert own.codes(pd.Series(["door", "lamps 1 and 4"]), pd.Series(["Quendle"] * 2))["code"].tolist() == [
        "H90",
        "H07",
    ]
    assert own.unknown(pd.Series(["tidewell zonk"]))["word"].tolist() == ["zonk"]


def test_own_terms_reach_the_tables(own: Words) -> None:
    terms = own.term_table().set_index(["list", "term"])["origin"]
    assert (
        terms["kind", "wine cooler"]
        == terms["complaint", "sings"]
        == terms["cause", "blocked lint chute"]
        == "workshop list"
    )
    assert terms["part", "drain pump"] in ("shipped", "workshop list")
    cures = own.cure_table()
    assert cures[cures["cause"] == "blocked lint chute"][["kind", "part"]].values.tolist() == [
        ["tumble dryer", "chute kit"]
    ]
    parts = own.parts().set_index("part")
    assert parts.loc["drain pump", "price"] == 31.5
    assert parts.loc["drain pump", "minutes"] == 30  # what the own list leaves out stays
    assert own.checks().set_index("check").loc["look into lint chute", "minutes"] == 4
    assert own.symptom_group_table().set_index("symptom").loc["does not drain", "symptom_group"] == "water out"


def test_a_number_is_read_however_it_is_written(tmp_path: Path) -> None:
    path = tmp_path / "ours.csv"
    path.write_text("list,term,price\npart,drain pump,1_0\n", encoding="utf-8")
    assert Words.load(extra=[path]).parts().set_index("part").loc["drain pump", "price"] == 10


def test_a_csv_list_says_the_same(tmp_path: Path) -> None:
    path = tmp_path / "ours.csv"
    path.write_text(
        "list,term,written,kinds\nkind,wine cooler,wine fridge|winey,\npart,drain pump,PMP-204,\n", encoding="utf-8"
    )
    words = Words.load(extra=[path])
    assert one(words, "kind", "winey") == ["wine cooler", True]
    assert one(words, "part", "pmp-204") == ["drain pump", True]


@pytest.mark.parametrize(
    ("name", "text", "parts"),
    [
        ("a.toml", "[[kind]]\nterm = 3", ("a.toml, line 1", "term is missing")),
        ("a.toml", "[[colour]]\nterm = 'x'", ("a.toml, line 1", '"colour"', "Lists are")),
        ("a.toml", "\n\n[[kind]]\nterm='x'\n[[kind]]\nterm='y'\nwriten=['z']", ("a.toml, line 5", '"writen"')),
        ("a.toml", "[[outcome]]\nterm = 'mended'", ('"mended"', "not an outcome")),
        ("a.toml", "[[cause]]\nterm='x'\nkinds=['moon buggy']", ('"moon buggy"', "not a kind")),
        ("a.toml", "[[part]]\nterm='x'\nprice='dear'", ("price", '"dear"')),
        ("a.toml", "[[finding]]\nterm='x'\ncheck='look'\nminutes=true", ("minutes", '"True"')),
        ("a.toml", "[codes.x]\nlights='many'", ("codes.x", '"lights"')),
        ("a.toml", "[codes.x]\ndigits=9", ("codes.x", "digits")),
        ("a.toml", "kind = 3", ("a.toml, line 1", '"kind"')),
        ("a.toml", "[[kind\n", ("a.toml is not TOML", "line 1")),
        ("a.csv", "list,written\nkind,x", ("a.csv, line 1", '"term"')),
        ("a.csv", "list,term\nkind,x\nzoo,y", ("a.csv, line 3", '"zoo"')),
        ("a.docx", "x", ("neither TOML nor CSV",)),
    ],
)
def test_faults_name_file_line_value_and_remedy(tmp_path: Path, name: str, text: str, parts: tuple[str, ...]) -> None:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    with pytest.raises(LayoutError) as refused:
        Words.load(extra=[path])
    for part in parts:
        assert part in str(refused.value)
    assert refused.value.remedy


def test_a_missing_list_and_an_unknown_language_are_refused(tmp_path: Path) -> None:
    with pytest.raises(LayoutError, match="cannot be read"):
        Words.load(extra=[tmp_path / "none.toml"])
    with pytest.raises(LayoutError, match="no word list for the language"):
        Words.load(("xx",))


def test_decisions_of_review_are_in_force() -> None:
    decided = pd.DataFrame(
        [
            ("kind", "Laundry Thing", "washing machine"),
            ("complaint", "zibbling", "noisy"),
            ("cause", "gubbins", None),
            ("cure", "gremlins", "drain pump"),
            ("cure", "dust", "no part"),
        ],
        columns=["list", "written", "term"],
    )
    words = Words.load(corrections=decided)
    assert one(words, "kind", "laundry thing") == ["washing machine", True]
    assert words.find_symptoms(pd.Series(["zibbling"]), pd.Series(["dishwasher"]))["symptom"].tolist() == ["noisy"]
    term = words.match("cause", pd.Series(["Gubbins"]), pd.Series(["dishwasher"]))["term"]
    assert term.isna().all()
    cures = words.cure_table().set_index("cause")["part"]
    assert set(cures["gremlins"]) == {"drain pump"}
    assert cures["dust"].isna().all()


def test_a_decision_that_words_mean_nothing_silences_them() -> None:
    words = Words.load(corrections=[("complaint", "zibbling", None)])
    assert words.unknown(pd.Series(["zibbling zonk"]))["word"].tolist() == ["zonk"]

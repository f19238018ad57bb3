"""German word lists: terms stay English, denial stands behind the verb, each text is read in its own language."""

from __future__ import annotations

import pandas as pd
import pytest

from pipeline.words import Words


@pytest.fixture(scope="module")
def words() -> Words:
    return Words.load(("en", "de"))


def said(words: Words, text: str, kind: str) -> set[str]:
    found = words.find_symptoms(pd.Series([text]), pd.Series([kind]))
    return {
        ("-" if negated else "?" if doubtful else "") + symptom
        for symptom, negated, doubtful in zip(found["symptom"], found["is_negated"], found["is_doubtful"], strict=True)
    }


@pytest.mark.parametrize(
    ("kind", "text", "expected"),
    [
        ("washing machine", "heizt nicht", {"does not heat"}),
        ("washing machine", "heitzt nicht mehr", {"does not heat"}),
        ("washing machine", "pumpt nicht ab und schleudert nicht", {"does not drain", "does not spin"}),
        ("washing machine", "Kein Wasser läuft ein", {"does not fill"}),
        ("washing machine", "läuft aus, heizt aber", {"leaks"}),
        ("washing machine", "nicht undicht", {"-leaks"}),
        ("washing machine", "Tür lässt sich nicht öffnen", {"door does not open or lock"}),
        ("washing machine", "Tuer laesst sich nicht oeffnen", {"door does not open or lock"}),
        ("washing machine", "stoppt vor dem Schleudern, Lampen blinken", {"stops before spin", "lamps or code shown"}),
        ("washing machine", "evtl. undicht", {"?leaks"}),
        ("tumble dryer", "Trommel dreht sich nicht", {"drum does not turn"}),
        ("microwave oven", "heizt nicht", {"runs but no heat"}),
        ("lamp", "Schalter defekt", {"switch or button faulty"}),
        ("lamp", "geht nicht an", {"dead"}),
        ("radio", "kein Ton", {"no sound"}),
        ("mixer", "geht nicht", {"does not work"}),
        ("mixer", "Motor läuft nicht", {"does not turn"}),
        ("coffee maker", "Läuft aus.", {"leaks"}),
        ("tablet", "lässt sich nicht einschalten", {"dead"}),
        ("radio", "geht aus", {"cuts out or intermittent"}),
        ("mixer", "funktioniert einwandfrei", {"-does not work"}),
        ("coffee machine", "schaltet sich wieder ab", {"cuts out or intermittent"}),
        ("coffee machine", "geht beim Brühvorgang aus", {"cuts out or intermittent"}),
        ("coffee machine", "Stromversorgung kaputt", {"dead"}),
        ("vacuum cleaner", "schaltet sich wieder ab", {"cuts out"}),
        ("vacuum cleaner", "eingeschränkte Saugleistung", {"no suction"}),
        ("vacuum cleaner", "Rauchausstoß", {"smells of burning"}),
        ("vacuum cleaner", "Einschaltknopf funktioniert nicht", {"switch or button faulty"}),
        ("lamp", "LED-Leselampe geht nicht", {"does not light"}),
        ("vacuum cleaner", "springt nicht an", {"dead"}),
        ("coffee machine", "heizt Wasser nicht auf", {"does not heat"}),
        ("lamp", "aus Zeitgründen nicht angesehen", set()),
        ("mixer", "dreht nicht, Kabel gereinigt und neu gelötet", {"does not turn"}),
    ],
)
def test_german_complaints(words: Words, kind: str, text: str, expected: set[str]) -> None:
    assert said(words, text, kind) == expected


def test_each_text_is_read_in_its_own_language(words: Words) -> None:
    texts = pd.Series(["not heating", "heizt nicht", "leaks", "undicht"])
    found = words.find_symptoms(texts, pd.Series(["dishwasher"] * 4))
    assert found[["row", "symptom"]].values.tolist() == [
        [0, "does not heat"], [1, "does not heat"], [2, "leaks"], [3, "leaks"],
    ]  # fmt: skip


def test_a_second_language_changes_nothing_for_the_first(words: Words) -> None:
    from tests.words.words_held_out import HELD_OUT

    texts = pd.Series([text for _kind, text, _truth in HELD_OUT])
    kinds = pd.Series([kind for kind, _text, _truth in HELD_OUT])
    english = Words.load(("en",)).find_symptoms(texts, kinds)
    pd.testing.assert_frame_equal(words.find_symptoms(texts, kinds), english)


@pytest.mark.parametrize(
    ("name", "written", "term"),
    [
        ("kind", "Waschmaschine", "washing machine"),
        ("kind", "Kühlschrank", "fridge"),
        ("kind", "Kuehlschrank", "fridge"),
        ("kind", "Geschirrspüler", "dishwasher"),
        ("outcome", "nicht repariert", "not fixed"),
        ("outcome", "repariert", "fixed"),
        ("outcome", "kein Fehler gefunden", "no fault found"),
        ("part", "Laugenpumpe", "drain pump"),
        ("part", "Heizstab", "heating element"),
    ],
)
def test_german_cells(words: Words, name: str, written: str, term: str) -> None:
    found = words.match(name, pd.Series([written]), pd.Series(["washing machine"]))
    assert found[["term", "is_understood"]].values.tolist() == [[term, True]]


def test_german_findings_and_causes(words: Words) -> None:
    found = words.find_findings(pd.Series(["Flusensieb verstopft"]), pd.Series(["washing machine"]))
    assert found[["finding", "value"]].values.tolist() == [["pump filter", "blocked"]]
    cause = words.match("cause", pd.Series(["Laugenpumpe defekt"]), pd.Series(["washing machine"]))
    assert cause["term"].tolist() == ["drain pump seized or open circuit"]

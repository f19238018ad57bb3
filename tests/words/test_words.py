"""Words read from whole columns: complaints with denial and doubt, findings, causes, cells, codes."""

from __future__ import annotations

import csv
import subprocess
import sys

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pipeline.words import Words
from pipeline.words.lists import SHIPPED
from tests.words.words_held_out import HELD_OUT
from tests.worlds.shared import times

WASHER = "washing machine"


@pytest.fixture(scope="module")
def words() -> Words:
    return Words.load()


def said(words: Words, text: str, kind: str | None = WASHER) -> set[str]:
    """Complaints of one text, ``-`` before denied ones, ``?`` before doubtful ones."""
    found = words.find_symptoms(pd.Series([text], dtype="str"), pd.Series([kind], dtype="object"))
    return {
        ("-" if negated else "?" if doubtful else "") + symptom
        for symptom, negated, doubtful in zip(found["symptom"], found["is_negated"], found["is_doubtful"], strict=True)
    }


def found(words: Words, text: str, kind: str | None = WASHER) -> dict[str, str]:
    table = words.find_findings(pd.Series([text], dtype="str"), pd.Series([kind], dtype="object"))
    return dict(zip(table["finding"], table["value"], strict=True))


def cause(words: Words, text: str, kind: str | None = WASHER) -> tuple[str | None, bool, bool]:
    table = words.match("cause", pd.Series([text], dtype="str"), pd.Series([kind], dtype="object"))
    term = table["term"].iloc[0]
    return (None if pd.isna(term) else term, bool(table["is_understood"].iloc[0]), bool(table["is_doubtful"].iloc[0]))


def columns(cells: list[tuple[str, str]]) -> tuple[pd.Series, pd.Series]:
    """Texts and their kinds, each text of a kind once."""
    texts, kinds = zip(*dict.fromkeys(cells), strict=True)
    return pd.Series(texts, dtype="str"), pd.Series(kinds, dtype="str")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("not heating", {"does not heat"}),
        ("not leaking", {"-leaks"}),
        ("no water left", {"-does not drain"}),
        ("water left in drum", {"does not drain"}),
        ("Won’t drain", {"does not drain"}),
        ("won't drain or spin", {"does not drain", "does not spin"}),
        ("won't drain, spin or heat", {"does not drain", "does not spin", "does not heat"}),
        ("not leaking or noisy", {"-leaks", "-noisy"}),
        ("not draining and leaking", {"does not drain", "leaks"}),
        ("not draining, leaking", {"does not drain", "leaks"}),
        ("doesn't heat or drain properly", {"does not heat", "does not drain"}),
        ("not heating, drains ok", {"does not heat", "-does not drain"}),
        ("spins but doesn't heat", {"does not heat"}),
        ("drains slowly", {"does not drain"}),
        ("slow to drain", {"does not drain"}),
        ("no problem draining", {"-does not drain"}),
        ("never fails to drain", {"-does not drain"}),
        ("stopped heating", {"does not heat"}),
        ("stopped leaking", {"-leaks"}),
        ("spin not working", {"does not spin"}),
        ("spin works fine, heater does not work", {"-does not spin", "does not work"}),
        ("? leaking", {"?leaks"}),
        ("leaking?", {"?leaks"}),
        ("poss. leaking, definitely not draining", {"?leaks", "does not drain"}),
        ("maybe noisy. leaking", {"?noisy", "leaks"}),
        ("no unusual noise", {"-noisy"}),
        ("no detergent, leaking", {"leaks"}),
        ("still heats", {"-does not heat"}),
        ("still not heating", {"does not heat"}),
        ("machine stops and beeps", {"lamps or code shown"}),
        ("stops before the spin, lamps flashing", {"stops before spin", "lamps or code shown"}),
        ("pump tested ok", set()),
        ("drain pump replaced last year", set()),
        ("", set()),
    ],
)
def test_denial_and_doubt_reach_as_far_as_they_should(words: Words, text: str, expected: set[str]) -> None:
    assert said(words, text) == expected


@pytest.mark.parametrize(
    ("kind", "text", "expected"),
    [
        ("microwave oven", "not heating", {"runs but no heat"}),
        ("tumble dryer", "drum not turning", {"drum does not turn"}),
        ("electric hob", "front zone not working", {"zone dead"}),
        ("cooker", "ring not working", {"ring dead"}),
        ("fridge", "not cold", {"warm"}),
        ("vacuum cleaner", "poor suction", {"no suction"}),
        ("radio", "no sound", {"no sound"}),
        ("laptop", "screen", {"?broken screen"}),
        ("laptop", "won't turn on", {"dead"}),
        (None, "leaking", {"leaks"}),
    ],
)
def test_the_kind_decides_what_words_mean(words: Words, kind: str | None, text: str, expected: set[str]) -> None:
    assert said(words, text, kind) == expected


def test_a_kind_without_words_of_its_own_changes_nothing_for_others() -> None:
    words = Words.load(("en",), corrections=[("kind", "zorbler", "zorbler")])
    assert said(words, "no sound", "gas appliance") <= {"no sound"}
    assert said(words, "no sound", "zorbler") <= {"no sound"}
    assert said(words, "no sound", "radio") == {"no sound"}


@pytest.mark.parametrize(
    ("kind", "text", "expected"),
    [
        ("vacuum cleaner", "no suction, found hose cut and cleaned it", {"no suction"}),
        ("vacuum cleaner", "hose of vacuum cleaner", set()),
        ("vacuum cleaner", "burnt out motor", {"burnt out", "?broken part"}),
        ("kettle", "leaks, burnt contact cleaned", {"leaks"}),
        ("kettle", "smokes, replaced the lead and now sparks", {"smells of burning"}),
        ("radio", "No time to look at it", set()),
        ("radio", "unable to repair in the time available", set()),
        ("radio", "unable to find a station, no sound", {"no sound"}),
        ("fan", "button not working", {"switch or button faulty"}),
        ("coffee machine", "turns itself off", {"cuts out or intermittent"}),
    ],
)
def test_records_that_tell_what_was_done(words: Words, kind: str, text: str, expected: set[str]) -> None:
    assert said(words, text, kind) >= expected
    assert {one for one in said(words, text, kind) if one[0] not in "?-"} == {e for e in expected if e[0] not in "?-"}


@pytest.mark.parametrize("text", ["not drainning", "not drianing", "not drainig", "NOT DRAINING"])
def test_misspelt_words_are_mended(words: Words, text: str) -> None:
    assert said(words, text) == {"does not drain"}


@pytest.mark.parametrize(
    "text", ["no seat", "not meat", "lead in the heath", "not sprain", "the wheat", "no brain", "not draning"]
)
def test_mending_never_crosses_to_another_word(words: Words, text: str) -> None:
    # "draning" may be draining or drawing, so it is neither
    assert said(words, text) == set()


def test_held_out_wording_is_understood(words: Words) -> None:
    right = missed = extra = 0
    for kind, text, truth in HELD_OUT:
        read, true = said(words, text, kind), set(truth.split("|"))
        right, missed, extra = right + len(read & true), missed + len(true - read), extra + len(read - true)
    assert right / (right + extra) >= 0.97, f"precision {right}/{right + extra}"
    assert right / (right + missed) >= 0.94, f"recall {right}/{right + missed}"


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("water left=no; filter=clear", {"water left": "no", "pump filter": "clear"}),
        ("Water Left = N; pump filter=full of fluff", {"water left": "no", "pump filter": "blocked"}),
        ("filter clear, sump hose blocked", {"pump filter": "clear", "sump hose": "blocked"}),
        ("filter and sump hose clear", {"pump filter": "clear", "sump hose": "clear"}),
        ("no water left in drum, pump hums", {"water left": "no", "pump sound": "hums"}),
        ("element o/c", {"element": "open"}),
        ("element 25 ohm", {"element": "good"}),
        ("element 20 Mohm", {"element": "open"}),
        ("filter not blocked", {"pump filter": "clear"}),
        ("coins in pump filter", {"pump filter": "blocked"}),
        ("filter blocked with coins", {"pump filter": "blocked"}),
        ("our own test=7", {"our own test": "7"}),
        ("", {}),
    ],
)
def test_findings(words: Words, text: str, expected: dict[str, str]) -> None:
    assert found(words, text) == expected


def test_a_finding_may_be_doubtful(words: Words) -> None:
    table = words.find_findings(pd.Series(["? filter=blocked", "filter=blocked"]), pd.Series([WASHER, WASHER]))
    assert table["is_doubtful"].tolist() == [True, False]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("blocked pump filter", ("blocked pump filter", True, False)),
        ("Filter was full of coins", ("blocked pump filter", True, False)),
        ("poss pump, later found sump hose blocked", ("partly blocked sump hose", True, False)),
        ("poss pump, later found hose", ("loose hose or clip", True, False)),
        ("? level sensor", ("level sensor fault", True, True)),
        ("pump tested ok, filter blocked", ("blocked pump filter", True, False)),
        ("not the pump, filter blocked", ("blocked pump filter", True, False)),
        ("PCB not driving pump", ("control board not driving pump", True, False)),
        ("elem down to earth", ("heating element to earth", True, False)),
        ("hose off", ("loose hose or clip", True, False)),
        ("kinked hose", ("kinked hose", False, False)),
        ("pump filter clear", ("pump filter clear", False, False)),
        ("gremlins", ("gremlins", False, False)),
        ("? gremlins", ("gremlins", False, True)),
        ("pump tested ok", ("pump tested ok", False, False)),
        ("  ", (None, False, False)),
    ],
)
def test_causes(words: Words, text: str, expected: tuple[str | None, bool, bool]) -> None:
    assert cause(words, text) == expected


def test_every_canonical_term_means_itself(words: Words) -> None:
    faults = [(row, kind) for row in words.faults().itertuples(index=False) for kind in row.kinds.split("|")]
    causes, kinds = columns([(row.cause, kind) for row, kind in faults])
    assert words.match("cause", causes, kinds).values.tolist() == [[cause, True, False] for cause in causes]
    parts, kinds = columns([(part, kind) for row, kind in faults if row.parts for part in row.parts.split("|")])
    assert words.match("part", parts, kinds)["term"].tolist() == parts.tolist()
    symptoms, kinds = columns([(symptom, kind) for row, kind in faults for symptom in row.symptoms.split("|")])
    heard = words.find_symptoms(symptoms, kinds)
    assert heard["row"].tolist() == list(range(len(symptoms)))
    assert heard["symptom"].tolist() == symptoms.tolist()
    assert not (heard["is_negated"] | heard["is_doubtful"]).any()
    seen = [
        (f"{check.finding}={value}", kind)
        for check in words.checks().itertuples(index=False)
        for value in check.values.split("|")
        for kind in check.kinds.split("|")
    ]
    written, kinds = columns(seen)
    read = words.find_findings(written, kinds)
    assert read["row"].tolist() == list(range(len(written)))
    assert (read["finding"] + "=" + read["value"]).tolist() == written.tolist()


@pytest.mark.parametrize(
    ("name", "written", "term"),
    [
        ("kind", "W/M", "washing machine"),
        ("kind", "w/d", "washer-dryer"),
        ("kind", "F/F", "fridge-freezer"),
        ("kind", "Wash Mach", "washing machine"),
        ("kind", "tumbel dryer", "tumble dryer"),
        ("kind", "8kg washing machine", "washing machine"),
        ("kind", "gas cooker", "gas appliance"),
        ("outcome", "NFF", "no fault found"),
        ("outcome", "B.E.R.", "beyond economic repair"),
        ("outcome", "not repaired", "not fixed"),
        ("outcome", "awaiting parts", "part needed"),
        ("outcome", "no access first, then fixed", "fixed"),
        ("outcome", "made safe, awaiting part", "part needed"),
        ("part", "elem", "heating element"),
        ("part", "PMP-204 drain pump", "drain pump"),
        ("part", "new TOC", "thermal cut-out kit"),
    ],
)
def test_cells(words: Words, name: str, written: str, term: str) -> None:
    kind = "tumble dryer" if "TOC" in written else WASHER
    table = words.match(name, pd.Series([written]), pd.Series([kind]))
    assert table[["term", "is_understood"]].values.tolist() == [[term, True]]


@pytest.mark.parametrize(
    ("name", "written", "own"),
    [
        ("kind", "vacuum sealer", "vacuum sealer"),
        ("kind", "Bread  Machine", "bread machine"),
        ("part", "drain pump cover", "drain pump cover"),
        ("outcome", "whatever", "whatever"),
        ("outcome", "not no access", "not no access"),
    ],
)
def test_what_no_list_knows_is_kept_as_own_term(words: Words, name: str, written: str, own: str) -> None:
    table = words.match(name, pd.Series([written]), pd.Series([WASHER]))
    assert table[["term", "is_understood"]].values.tolist() == [[own, False]]


def test_an_empty_cell_has_no_term_and_the_index_is_kept(words: Words) -> None:
    written = pd.Series([None, "dishwasher", " "], index=[7, 3, 5], dtype="str")
    table = words.match("kind", written)
    assert table.index.tolist() == [7, 3, 5]
    assert table["term"].isna().tolist() == [True, False, True]
    assert table["is_understood"].tolist() == [False, True, False]


def test_unknown_words_are_given_once_a_text(words: Words) -> None:
    table = words.unknown(pd.Series(["not heating, zibbling zibbling", "not draining", "x 12 K07 gronk"]), None)
    assert table.values.tolist() == [[0, "zibbling"], [2, "gronk"]]


def test_long_words_that_begin_alike_are_told_apart_and_case_is_not(words: Words) -> None:
    table = words.unknown(pd.Series(["zibblegronkels", "zibblegronkelt", "zibblegr", "Zibblegronkels"]), None)
    assert table.values.tolist() == [
        [0, "zibblegronkels"],
        [1, "zibblegronkelt"],
        [2, "zibblegr"],
        [3, "zibblegronkels"],
    ]


def test_a_clause_met_again_in_a_later_batch_says_the_same(words: Words) -> None:
    texts = pd.Series(["not draining, leaking from door", "no heat"] * 60_000)
    table = words.find_symptoms(texts, pd.Series(["washing machine"] * len(texts)))
    once = words.find_symptoms(texts[:2], pd.Series(["washing machine"] * 2))
    assert table["symptom"].tolist() == once["symptom"].tolist() * 60_000


def test_empty_columns_give_empty_frames(words: Words) -> None:
    nothing, kinds = pd.Series([], dtype="str"), pd.Series([], dtype="str")
    assert words.find_symptoms(nothing, kinds).empty
    assert words.find_findings(nothing, kinds).empty
    assert words.unknown(nothing, kinds).empty
    assert words.codes(nothing, kinds).empty
    assert words.match("cause", nothing, kinds).empty
    assert words.match("kind", nothing).empty


@settings(deadline=None, max_examples=times(10))
@given(st.lists(st.text(max_size=60), max_size=6))
def test_no_text_breaks_the_reading(words: Words, texts: list[str]) -> None:
    column = pd.Series(texts, dtype="object")
    kinds = pd.Series([WASHER] * len(texts), dtype="str")
    for frame in (
        words.find_symptoms(column, kinds),
        words.find_findings(column, kinds),
        words.unknown(column, kinds),
        words.codes(column, kinds),
    ):
        assert frame["row"].between(0, len(texts) - 1).all()
    for name in ("kind", "outcome", "part", "cause", "make"):
        assert len(words.match(name, column, kinds)) == len(texts)


_PIECES = st.sampled_from(
    [
        "not",
        "draining",
        "leaking",
        "noisy",
        ",",
        "or",
        "and",
        "ok",
        "?",
        ".",
        "but",
        "won't",
        "spin",
        "wibble",
        "door open",
        "no",
        "heat",
    ]
)


@settings(deadline=None, max_examples=times(10))
@given(st.lists(st.lists(_PIECES, max_size=8).map(" ".join), min_size=1, max_size=5))
def test_a_text_means_the_same_alone_as_in_a_column(words: Words, texts: list[str]) -> None:
    column, kinds = pd.Series(texts, dtype="str"), pd.Series([WASHER] * len(texts), dtype="str")
    table = words.find_symptoms(column, kinds)
    for row, text in enumerate(texts):
        together = table[table["row"] == row].drop(columns="row").values.tolist()
        alone = words.find_symptoms(pd.Series([text], dtype="str"), kinds[:1]).drop(columns="row").values.tolist()
        assert together == alone


@settings(deadline=None, max_examples=times(10))
@given(st.lists(_PIECES, max_size=8).map(" ".join))
def test_case_and_spacing_change_nothing(words: Words, text: str) -> None:
    assert said(words, text) == said(words, "  " + text.upper().replace(" ", "   "))


@settings(deadline=None)
@given(st.sampled_from(["leaking", "noisy", "tripping the electrics", "smells of burning"]))
def test_denying_turns_a_symptom(words: Words, symptom: str) -> None:
    (present,) = said(words, symptom)
    assert said(words, f"not {symptom}") == {f"-{present}"}
    assert said(words, f"? {symptom}") == {f"?{present}"}


def test_batches_do_not_change_what_is_found(words: Words, monkeypatch: pytest.MonkeyPatch) -> None:
    texts = pd.Series([text for _kind, text, _truth in HELD_OUT] * 5, dtype="str")
    kinds = pd.Series([kind for kind, _text, _truth in HELD_OUT] * 5, dtype="str")
    whole = words.find_symptoms(texts, kinds)
    from pipeline.words import tokens

    monkeypatch.setattr(tokens.batches, "__defaults__", (300,))
    pd.testing.assert_frame_equal(words.find_symptoms(texts, kinds), whole)


@pytest.mark.parametrize(
    "piece", ["in ", "a", "= ", ", ", "5 ", "a.", "not ", "F0", "ä", "\x00", "water left=no;", "ohm "]
)
def test_long_hostile_texts_are_read_in_passing(words: Words, piece: str) -> None:
    column = pd.Series([piece * (120_000 // len(piece))], dtype="str")
    kinds = pd.Series([WASHER], dtype="str")
    for read in (words.find_symptoms, words.find_findings, words.unknown, words.codes):
        assert (read(column, kinds)["row"] == 0).all()
    for name in ("kind", "outcome", "part", "cause", "make"):
        assert words.match(name, column, kinds)["term"].str.len().fillna(0).le(80).all()


def test_loading_imports_nothing_heavy() -> None:
    code = (
        "import sys; from pipeline.words import Words; Words.load(('en', 'de'));"
        "print([m for m in ('numpy', 'pandas', 'pyarrow', 'rapidfuzz') if m in sys.modules])"
    )
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert told.stdout.strip() == "[]"


@pytest.mark.parametrize(
    ("complaint", "codes"),
    [
        ("won't drain, shows K07", ["K07"]),
        ("F31/F32 and no spin", ["F31", "F32"]),
        ("code K7/K8", ["K07", "K08"]),
        ("error 7, not heating", ["E07"]),
        ("display says E:20", ["E20"]),
        ("lamps 1+4 lit, rest flashing", ["lamps 1+4"]),
        ("4 flashes then a pause", ["4 flashes"]),
        ("error 3 days ago", []),
        ("leaks 2 weeks, lights flashing", []),
        ("shows 2 lines and stops after 15 mins", []),
        ("model W540, 1400 spin, 3 yrs old", []),
        ("fills to 30 then stops", []),
    ],
)
def test_a_code_named_in_a_complaint_is_heard(complaint: str, codes: list[str]) -> None:
    found = Words.load().said_codes(pd.Series([None, complaint], dtype="str"), pd.Series([None, None], dtype="str"))
    assert found["code"].tolist() == codes
    assert set(found["row"]) <= {1}


def test_terms_renamed_since_are_read_in_records_and_decisions() -> None:
    words = Words.load(("en",), corrections=[("part", "sucker unit", "suction motor")])
    kinds = pd.Series(["vacuum cleaner"] * 2)
    parts = words.match("part", pd.Series(["suction motor", "sucker unit"]), kinds)
    assert parts["term"].tolist() == ["vacuum motor"] * 2
    causes = words.match("cause", pd.Series(["suction motor failing", "suction motor failed"]), kinds)
    assert causes["term"].tolist() == ["vacuum motor failing", "vacuum motor failed"]
    seen = words.find_findings(pd.Series(["leak place=below"]), pd.Series(["washing machine"]))
    assert seen[["finding", "value"]].values.tolist() == [["where it leaks", "below"]]


def test_no_row_of_the_shipped_lists_holds_more_cells_than_its_header():
    for path in sorted(SHIPPED.glob("*/*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            header, *rows = csv.reader(file)
        longer = [row[:2] for row in rows if len(row) > len(header)]
        assert not longer, (path.name, longer)


@pytest.mark.parametrize("cause", ["thermostat failed", "thermostat faulty"])
def test_a_thermostat_of_a_dryer_is_no_probe(cause: str) -> None:
    words, dryer = Words.load(), pd.Series(["tumble dryer"])
    read = words.match("cause", pd.Series([cause]), dryer)
    assert (read["term"][0], bool(read["is_understood"][0])) == (cause, False)
    assert words.match("part", pd.Series(["thermostat"]), dryer)["term"][0] == "thermostat"
    assert words.match("part", pd.Series(["thermostat/ntc"]), dryer)["term"][0] == "ntc probe"

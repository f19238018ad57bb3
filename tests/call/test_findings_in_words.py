"""What was seen, told in words: nothing turned round, nothing lost, nothing made up."""

from __future__ import annotations

import pytest

from pipeline import Workshop
from pipeline.call.question import Call, Question
from pipeline.call.read_call import read_questions
from pipeline.words import Words

WASHER, DISH, OVEN, HOB = "washing machine", "dishwasher", "electric oven", "electric hob"


@pytest.fixture(scope="module")
def words() -> Words:
    return Words.load(("en", "de"))


def read(words: Words, kind: str, complaint: str, *found: str, age: str | None = None) -> Question:
    return read_questions(words, None, [Call(kind, complaint=complaint, found=found, age=age)])[0]


@pytest.mark.parametrize("told", ["hose clips tight", "all the hoses are tight", "Schellen fest", "Schläuche trocken"])
def test_a_tight_or_dry_hose_is_no_seized_one(words: Words, told: str) -> None:
    for question in (read(words, DISH, "leaks", told), read(words, DISH, f"leaks, {told}")):
        assert "loose hose or clip" in question.cleared
        assert "hose" not in question.findings
        assert question.not_understood == ()


@pytest.mark.parametrize(
    ("kind", "told", "finding", "value"),
    [
        (WASHER, "drum tight", "drum", "stiff"),
        ("tumble dryer", "rollers tight", "rollers", "worn"),
        ("fridge", "door seal tight", "door closes", "tight"),
        ("fridge", "coils matted with fluff", "condenser", "dirty"),
    ],
)
def test_a_state_is_read_by_what_it_is_said_of(words: Words, kind: str, told: str, finding: str, value: str) -> None:
    assert read(words, kind, "noisy", told).findings == {finding: value}


@pytest.mark.parametrize("told", ["drain hose not kinked", "drain hose not bent", "Ablaufschlauch nicht geknickt"])
def test_a_hose_that_is_not_kinked_may_be_blocked(words: Words, told: str) -> None:
    for question in (read(words, WASHER, "won't drain", told), read(words, WASHER, f"won't drain, {told}")):
        assert question.findings == {}
        assert question.not_understood == ()
    assert read(words, WASHER, "won't drain, drain hose not blocked").findings == {"drain hose": "clear"}


ELEMENTS = {"oven element open circuit", "grill element open circuit", "base element open circuit"}


@pytest.mark.parametrize(
    ("told", "left"),
    [
        (("bottom element reads open",), "base element open circuit"),
        (("top element OL", "fan element 23 ohms"), "grill element open circuit"),
        (("bottom element 35 ohms", "top element infinity"), "grill element open circuit"),
        (("Unterhitze unterbrochen",), "base element open circuit"),
        (("Oberhitze unendlich",), "grill element open circuit"),
    ],
)
def test_the_element_that_was_measured_open_is_the_one_to_fit(words: Words, told: tuple[str, ...], left: str) -> None:
    for question in (read(words, OVEN, "not heating", *told), read(words, OVEN, ", ".join(["not heating", *told]))):
        assert question.findings["element"] == "open"
        assert ELEMENTS - question.cleared == {left}


def test_one_good_element_says_nothing_of_the_others(words: Words) -> None:
    question = read(words, OVEN, "not heating", "bottom element 35 ohms")
    assert question.findings == {}
    assert ELEMENTS & question.cleared == {"base element open circuit"}
    assert question.not_understood == ()


def test_what_no_finding_says_is_read_as_customers_tell_it(words: Words) -> None:
    question = read(words, WASHER, "roars on spin", "no water on the floor", "energy comes and goes")
    assert question.not_understood == ("energy comes and goes",)
    assert "denied: leaks" in question.remarks[0]


def test_a_new_shelf_is_no_new_fridge(words: Words) -> None:
    assert not read(words, "fridge", "broke the glass shelf and we got a new one, now too warm").is_newly_placed
    assert read(words, "fridge", "too warm, its a new one").is_newly_placed
    assert read(words, WASHER, "old one died so new one delivered, leaks").is_newly_placed


def test_two_ages_are_told(words: Words) -> None:
    question = read(words, WASHER, "3 weeks old, won't drain", age="6")
    assert question.age_years == 6
    assert "3 weeks old" in question.remarks[0]
    assert not question.not_understood
    assert read(words, WASHER, "it's six years old and won't drain", age="6").remarks == ()
    assert read(words, WASHER, "8 Jahre alt, pumpt nicht ab").age_years == 8
    assert read(words, WASHER, "belt is 3 weeks old, won't drain").age_years is None


@pytest.mark.parametrize(
    ("kind", "complaint"),
    [
        (WASHER, "child lock sign is on and I can't get it to start"),
        (DISH, "won't start, key symbol lit"),
        (WASHER, "startet nicht, Kindersicherung leuchtet"),
    ],
)
def test_a_child_lock_is_undone_before_anything_is_opened(no_jobs: Workshop, kind: str, complaint: str) -> None:
    answer = no_jobs.causes(kind=kind, complaint=complaint)
    assert answer.causes[0].cause == "control lock set or panel wet"
    assert answer.steps[0].name == "unlock and dry the panel, advise"


def test_a_panel_that_beeps_after_a_spill_is_wet_or_dirty_first(no_jobs: Workshop) -> None:
    answer = no_jobs.causes(
        kind=HOB, complaint="milk boiled over, now the touch buttons beep and it switches itself off"
    )
    assert answer.steps[0].name in ("look at touch panel and lock", "unlock and dry the panel, advise")


@pytest.mark.parametrize(
    "complaint",
    [
        "my glasses used to be clear and now they're cloudy",
        "Gläser haben einen weißen Schleier",
        "glasses come out milky",
    ],
)
def test_cloudy_glasses_are_salt_and_rinse_aid_first(no_jobs: Workshop, complaint: str) -> None:
    answer = no_jobs.causes(kind=DISH, complaint=complaint)
    assert answer.steps[0].name == "look at salt, rinse aid and detergent"
    dirty = no_jobs.causes(kind=DISH, complaint=f"{complaint}, plates dirty")
    assert "spray arms blocked" in [row.cause for row in dirty.causes]


def test_a_finding_that_ends_its_clause_is_not_denied_by_the_next(words: Words) -> None:
    question = read(words, "fridge-freezer", "fridge warm, freezer fine, fan not running")
    assert question.symptoms == ("warm",)
    assert question.findings == {"compressor": "runs", "fan": "silent"}


@pytest.mark.parametrize(
    ("kind", "complaint", "symptoms"),
    [
        ("fridge-freezer", "it gurgles when it stops like it has since new, only the light inside stays off", ["does not light"]),
        ("fridge", "gluckert wie schon immer, nur das Licht geht nicht", ["does not light"]),
        (OVEN, "not heating, thermostat clicks", ["does not heat"]),
        (DISH, "not heating, pressure switch clicks", ["does not heat"]),
        (WASHER, "it leaks, has leaked since new", ["leaks"]),
    ],
)  # fmt: skip
def test_what_was_always_so_or_only_clicks_is_no_complaint(
    words: Words, kind: str, complaint: str, symptoms: list[str]
) -> None:
    assert list(read(words, kind, complaint).symptoms) == symptoms


def test_a_compressor_that_clicks_on_and_off_does_not_come_and_go(no_jobs: Workshop) -> None:
    plain = no_jobs.causes(kind="freezer", complaint="not cold, compressor clicks on and off")
    assert "comes and goes" not in " ".join(plain.lines())
    assert "comes and goes" in " ".join(no_jobs.causes(kind="freezer", complaint="not cold on and off").lines())


@pytest.mark.parametrize(
    ("found", "findings"),
    [
        ("sump full", {"water left": "yes"}),
        ("sump full of grit", {"sump filter": "blocked"}),
        ("salt hopper full of water, no salt", {"detergent test": "wrong"}),
        ("drain hose joints tight", {}),
        ("tray full of water", {"float": "tripped"}),
        ("jets clear", {"spray arms": "free"}),
    ],
)
def test_full_and_tight_are_told_by_what_they_are_said_of(words: Words, found: str, findings: dict[str, str]) -> None:
    question = read(words, DISH, "plates dirty", found)
    assert question.findings == findings
    assert question.symptoms == ("does not clean",)


def test_a_finding_kept_as_the_workshops_own_is_told_once(words: Words) -> None:
    question = read(words, HOB, "one ring dead", "energy regulator clicks over", "wiring to it sound")
    assert question.not_understood == ()
    assert sum("regulator" in remark for remark in question.remarks) == 1
    assert question.findings["ring wiring test"] == "good"


FREEZER, DRYER = "freezer", "tumble dryer"


@pytest.mark.parametrize(
    ("kind", "complaint", "told", "findings"),
    [
        (WASHER, "won't spin", "brushes down to the nub", {"brushes": "worn"}),
        (WASHER, "won't spin", "carbons all gone", {"brushes": "worn"}),
        (WASHER, "schleudert nicht", "Kohlen sind runter", {"brushes": "worn"}),
        (DRYER, "not heating", "stat clicked out", {"thermal cut-out": "open"}),
        (DRYER, "not heating", "reset button popped out", {"thermal cut-out": "open"}),
        (DRYER, "wird nicht warm", "Thermostat ausgelöst", {"thermal cut-out": "open"}),
        (DRYER, "wird nicht warm", "Flusensieb war dicht", {"lint path": "blocked"}),
        (DRYER, "noisy", "belt not frayed", {"belt": "good"}),
        (DISH, "leaks", "clip on the drain hose loose", {"hose": "loose", "drain hose": "loose"}),
        (DRYER, "noisy", "jockey pulley squeals", {"pulley": "rough or seized"}),
        (DRYER, "noisy", "rear bearing worn", {"drum": "rough"}),
        (DISH, "not cleaning", "tap's only half open", {"tap flow": "low"}),
        (DISH, "not cleaning", "Hahn nur halb auf", {"tap flow": "low"}),
        (DISH, "not cleaning", "hardly any water in the tub at the start", {}),
        (DISH, "not filling", "tap is open", {"tap flow": "good"}),
        (DISH, "holt kein Wasser", "Siebchen im Zulauf zugesetzt", {"inlet filter": "blocked"}),
        ("fridge", "not cold", "solid ice behind the back panel", {"evaporator": "frosted"}),
        ("fridge", "not cold", "Rückwand vereist", {"evaporator": "frosted"}),
        ("fridge", "not cold", "coil only half iced", {"evaporator": "bare"}),
        ("fridge", "kühlt schlecht", "Verdampfer nur halb bereift", {"evaporator": "bare"}),
        ("fridge", "kühlt schlecht", "Türdichtung schließt nicht", {"door closes": "loose"}),
        (HOB, "one ring dead", "nothing coming out of the regulator", {"regulator test": "faulty"}),
        (HOB, "one ring dead", "am Regler kommt nichts raus", {"regulator test": "faulty"}),
        (HOB, "one ring dead", "connections all tight", {"wiring": "good", "ring wiring test": "good"}),
    ],
)  # fmt: skip
def test_more_of_what_technicians_write(
    words: Words, kind: str, complaint: str, told: str, findings: dict[str, str]
) -> None:
    question = read(words, kind, complaint, told)
    assert question.findings == findings
    assert question.not_understood == ()


@pytest.mark.parametrize(
    ("kind", "told", "note"),
    [
        (DISH, "hardly any water in the tub at the start", "fills too little"),
        (DISH, "kaum Wasser am Anfang drin", "fills too little"),
        (FREEZER, "compressor roasting", "compressor overheats"),
        (DISH, "Magnetventil zieht nicht an", "inlet valve does not open"),
        (WASHER, "valve doesn't pull in", "inlet valve does not open"),
    ],
)
def test_what_no_check_asks_for_is_told_as_a_note(words: Words, kind: str, told: str, note: str) -> None:
    question = read(words, kind, "does not work", told)
    assert any(note in remark for remark in question.remarks)
    assert question.findings == {}
    assert question.not_understood == ()


def test_a_heater_switched_off_is_not_measured_good(words: Words) -> None:
    assert "element" not in read(words, WASHER, "not heating", "heater off").findings


@pytest.mark.parametrize(
    ("kind", "complaint", "told", "cause"),
    [
        ("fridge-freezer", "fridge warm, freezer fine", "defrost heater open circuit", "defrost heater open circuit"),
        (WASHER, "does not spin", "motor winding open", "drive motor fault"),
        (WASHER, "does not fill", "valve coil open", "inlet valve coil open"),
        (WASHER, "does not drain", "pump winding open", "drain pump seized or open circuit"),
        (DRYER, "not heating", "element open circuit", "heating element open circuit"),
    ],
)
def test_a_part_measured_open_carries_its_cause(
    no_jobs: Workshop, kind: str, complaint: str, told: str, cause: str
) -> None:
    first = no_jobs.causes(kind=kind, complaint=complaint, found=[told]).causes[0]
    assert first.cause == cause
    assert first.probability > 0.7


def test_a_value_that_only_says_what_is_worn_makes_it_no_less_likely(no_jobs: Workshop) -> None:
    """Of a finding whose sound value no list states for a cause the sound value is known from the check."""
    plain = no_jobs.causes(kind=WASHER, complaint="noisy")
    worn = no_jobs.causes(kind=WASHER, complaint="noisy", found=["impeller=worn"])
    cause = "drain pump impeller worn"
    odds = [{row.cause: row.probability for row in one.causes}.get(cause, 0.0) for one in (plain, worn)]
    assert odds[0] < odds[1]

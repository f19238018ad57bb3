"""A danger told in words that no list of dangers holds is asked about first, wherever a call is answered."""

from __future__ import annotations

from pipeline.call.question import Call
from pipeline.on_site.conversation import run
from pipeline.words.appliance import about
from pipeline.words.danger_signs import signs
from tests.call.alarm_phrasings import NO_DANGERS, at_doors
from tests.call.asked import asked_of, told_at

SIGNS = {
    ("fridge", "hums, and the hand that I opened it with is sore"): "hand",
    ("washing machine", "wont drain and the puppy got in the drum"): "puppy",
    ("dishwasher", "does not clean and the rack stings a little"): "stings",
    ("tumble dryer", "takes too long, ash on the floor round it"): "ash",
    ("Waschmaschine", "pumpt nicht ab, und mein Daumen pocht seitdem"): "Daumen",
    ("Trockner", "trocknet nicht, ganz diesig im Raum"): "diesig",
    ("washing machine", "won't drain and my wife says it is not safe"): "not safe",
    ("tumble dryer", "takes too long, we chucked water over it"): "chucked water over",
    ("dishwasher", "does not drain, and it threw me"): "threw me",
    ("heat-pump dryer", "the plastic of the lint flap drooped"): "drooped",
    ("Waschmaschine", "pumpt nicht ab, ich traue mich nicht mehr ran"): "traue mich nicht",
    ("Kühlschrank", "wird nicht kalt, beim Putzen bin ich abgerutscht"): "abgerutscht",
}
NO_SIGNS = {
    ("washing machine", "drum turns by hand, not draining"),
    ("washing machine", "no jolt, just not draining"),
    ("fridge-freezer", "fish fingers soft, not cold enough"),
    ("electric hob", "left ring does not glow"),
    ("washing machine", "dog hair in the filter, does not drain"),
    ("dishwasher", "spray arm does not turn, dirty plates"),
    ("freezer", "freezer burn on the peas, not cold enough"),
    ("washing machine", "can't put my finger on it, does not drain"),
    ("dishwasher", "kills the smell but does not drain"),
    ("fridge-freezer", "it hisses and gurgles after the motor stops, not cold enough"),
    ("Waschmaschine", "blitzblank, pumpt nur nicht ab"),
    ("Waschmaschine", "Handwäsche startet nicht"),
    ("Spülmaschine", "unterer Arm dreht nicht"),
}


def test_a_word_that_may_tell_of_a_danger_is_asked_about_first_and_nothing_under_power_comes_first(workshop):
    for (call, word), asked in zip(
        SIGNS.items(), told_at(workshop, [("complaint", *one) for one in SIGNS]), strict=True
    ):
        text = asked.trade.cautions["danger first"]
        assert word in asked.question.may_hurt, call
        assert asked.lines()[0].startswith('! danger first ("'), call
        assert asked.lines()[0].endswith(text), call
        assert asked.as_json()["cautions"][0] == text, call
        assert any(f'"{word}"' in asked.wording.told(remark) for remark in asked.question.remarks), call
        powered = {card.name for card in asked.trade.checks if card.power == "needed"}
        assert asked.steps[0].name not in powered, call
        assert asked.steps[0].do != "close up", call


def test_harmless_words_and_those_beside_a_danger_that_was_heard_are_no_signs(workshop):
    for call, question in zip(NO_SIGNS, asked_of(workshop, [("complaint", *one) for one in NO_SIGNS]), strict=True):
        assert question.may_hurt == (), call
    (heard,) = asked_of(workshop, [("complaint", "washing machine", "electric shock off it, my hand tingles")])
    assert heard.symptoms[0] == "gives electric shock"
    assert heard.may_hurt == ()


def test_two_denials_deny_nothing(workshop):
    denies = workshop.words.denying
    assert [one.text for one in signs("you cannot open it without a jolt", "fridge", denies)] == ["jolt"]
    assert signs("there was no jolt", "fridge", denies) == ()
    assert [one.text for one in signs("no thumb was hurt", "fridge", denies)] == ["thumb", "hurt"]


def test_of_the_lists_own_harmless_calls_few_meet_the_line(workshop):
    questions = asked_of(workshop, at_doors(NO_DANGERS))
    assert sum(bool(question.may_hurt) for question in questions) <= len(questions) // 8


def test_sheets_ring_the_customer_first_and_a_visit_shows_the_line_at_its_first_step(workshop, tmp_path, short_trees):
    said = "takes too long, ash on the floor round it"
    calls = tmp_path / "calls.csv"
    calls.write_text(f'appliance_kind,complaint\ntumble dryer,"{said}"\n', encoding="utf-8")
    told = workshop.round(calls, tmp_path / "round.html")
    page = (tmp_path / "round.html").read_text(encoding="utf-8")
    assert [row["cautions"] for row in told["ring_first"]] == [["danger first"]]
    assert "<dt>danger first (&#34;ash&#34;)</dt>" in page
    lines: list[str] = []
    run(workshop.database, workshop.words, workshop.settings, Call(kind="tumble dryer", complaint=said), ask=lambda _: "q", say=lines.append)  # fmt: skip
    assert any(line.startswith('! danger first ("ash"): ') for line in lines)


def test_a_sign_told_in_the_middle_of_a_visit_brings_the_line_and_takes_the_power(workshop):
    lines: list[str] = []
    pressed = iter(["f my thumb went numb off the lid", "q"])
    run(workshop.database, workshop.words, workshop.settings, Call(kind="washing machine", complaint="does not spin"), ask=lambda _: next(pressed, ""), say=lines.append)  # fmt: skip
    steps = [line.removeprefix("NEXT ").split(" (")[0] for line in lines if line.startswith("NEXT ")]
    trade = about(workshop.words, "washing machine")
    assert len(steps) == 2
    assert steps[1] not in {card.name for card in trade.checks if card.power == "needed"}
    assert any(line.startswith('! danger first ("my thumb went numb off the lid"): ') for line in lines)

"""No path prints a step without its cautions; licensed work gets no repair steps."""

from __future__ import annotations

import itertools
import re

import pytest

from pipeline.advice.kept import kept
from pipeline.call.question import Call
from pipeline.call.read_call import read_questions
from pipeline.on_site.conversation import run
from pipeline.visit.ask import answered, ask
from pipeline.visit.plan_tree import tree
from pipeline.words.appliance import AFTER_EVERY_REPAIR, ALWAYS, about, is_handed_on

REFERRED = re.compile(r"refer|licensed|hand over|take to the workshop|not economic")


@pytest.fixture(scope="module")
def kinds(workshop):
    return [str(kind) for kind in workshop.words.kinds()["kind"]]


@pytest.fixture(scope="module")
def answers(workshop, kinds):
    """Every kind by the complaint of most causes that the word lists know for it, and by none."""
    words, database = workshop.words, workshop.database
    questions = [
        read_questions(words, database, [Call(kind, complaint=complaint)])[0]
        for kind in kinds
        for complaint in [
            None,
            *sorted(about(words, kind).shares, key=lambda name: -len(about(words, kind).shares[name]))[:1],
        ]
    ]
    return [answered(asked, kept(database)) for asked in ask(database, words, workshop.settings, questions)]


def required(trade, step):
    """Cautions a step must carry, read from the lists and not from the plan."""
    if step["do"] == "check":
        return set(next(card.cautions for card in trade.checks if card.name == step["name"]))
    if step["do"] not in ("fit", "clear"):
        return set()
    own = {name for repair in trade.repairs.values() if repair.action == step["name"] for name in repair.cautions}
    if not own and step["name"].startswith("advise "):  # advice that the workshop's own jobs ended with: no work
        return {AFTER_EVERY_REPAIR}
    of_parts = {name for part in step["parts"] for name in trade.parts[part].cautions}
    return (own or of_parts or set(trade.kind_cautions)) | {AFTER_EVERY_REPAIR}  # a cause no list knows: the kind's


def every_step(row):
    yield from row["steps"]
    for branch in row["branches"]:
        if branch["then"]:
            yield from every_step(branch["then"])


def test_the_lists_give_every_check_part_and_kind_a_caution(workshop, kinds):
    cautions = set(workshop.words.cautions()["caution"])
    for kind in kinds:
        trade = about(workshop.words, kind)
        assert trade.kind_cautions
        for card in trade.checks:
            assert card.cautions, card.name
            assert set(card.cautions) <= cautions
        for name, card in trade.parts.items():
            assert card.cautions, name
            assert set(card.cautions) <= cautions


def test_every_repair_of_every_kind_has_cautions(workshop, kinds, answers):
    for asked in answers:
        if asked.visit is None:
            continue
        for act in asked.costs.acts(list(asked.trade.repairs)):
            assert set(act.cautions) - {AFTER_EVERY_REPAIR}, act.name
            assert AFTER_EVERY_REPAIR in act.cautions


def test_json_steps_carry_the_full_text_of_their_cautions(answers):
    for asked in answers:
        texts = asked.trade.cautions
        for step in asked.as_json()["steps"]:
            assert step["cautions"], step["name"]
            assert {texts[name] for name in required(asked.trade, step)} <= set(step["cautions"])
            assert set(step["cautions"]) <= set(asked.as_json()["cautions"])


def test_terminal_steps_name_their_cautions_and_the_text_follows(answers):
    for asked in answers:
        lines = asked.lines()
        assert [line.count("! ") for line in lines if line.startswith("!")] == [1] * len(asked.shown_caution_names())
        whole = "\n".join(lines)
        shown = [line for line in lines if re.match(r" \d ", line)]
        assert shown
        for number, line in enumerate(shown):
            step = asked.as_json()["steps"][number]
            assert step["name"] in line
            found = re.search(r"\[([^\[\]]*)\]$", line)
            named = set(found[1].split(", ")) if found else set()
            assert required(asked.trade, step) - {AFTER_EVERY_REPAIR, ALWAYS} <= named
            assert ALWAYS not in named  # it holds for all and stands once
            for name in named | required(asked.trade, step):
                assert asked.trade.cautions[name] in whole
        assert asked.trade.cautions[ALWAYS] in whole


def test_only_cautions_of_what_is_shown_are_printed(answers):
    for asked in answers:
        shown = {name for step in asked.steps[:5] for name in step.cautions} | set(asked.alarms) | {ALWAYS}
        shown |= {name for row in asked.advice for name in asked.look_cautions(row)}
        whole = "\n".join(asked.lines())
        for name, text in asked.trade.cautions.items():
            assert (text in whole) <= (name in shown), (asked.question.kind, name)


def test_every_branch_of_every_tree_carries_cautions(answers):
    seen = 0
    for asked in answers:
        if asked.visit is None:
            continue
        for step in every_step(tree(asked.visit)):
            seen += 1
            always = asked.trade.cautions[ALWAYS]  # stands once on the sheet
            assert step["cautions"], step["name"]
            assert required(asked.trade, step) - {ALWAYS} <= set(step["caution_names"])
            assert len([text for text in step["cautions"] if text != always]) == len(step["caution_names"])
    assert seen > 200


def test_sheets_print_every_step_with_its_cautions_and_their_text(workshop, kinds, tmp_path, short_trees):
    calls = tmp_path / "calls.csv"
    rows = [f"{kind},{complaint}" for kind in kinds[::3] for complaint in list(about(workshop.words, kind).shares)[:1]]
    calls.write_text("\n".join(["appliance_kind,complaint", *rows, "gas hob,will not light"]), encoding="utf-8")
    told = workshop.round(calls, tmp_path / "round.html")
    page = (tmp_path / "round.html").read_text(encoding="utf-8")
    sheets = re.findall(r'<article class="sheet.*?</article>', page, flags=re.DOTALL)
    assert len(sheets) == len(told["calls"])
    overview = re.findall(r'<span class="first">.*?</a>', page, flags=re.DOTALL)
    assert len(overview) == len(sheets)
    checks = workshop.words.checks()
    harmless = set(checks["check"][checks["cautions"] == ALWAYS])
    assert all('class="heed"' in first or any(name in first for name in harmless) for first in overview)
    for sheet, call in zip(sheets, told["calls"], strict=True):
        trade = about(workshop.words, call["asked"]["kind"])
        steps = re.findall(r'<li class="step.*?</li>', sheet, flags=re.DOTALL)
        assert steps
        box = sheet[sheet.index('class="cautions') :]
        heeded = [step for step in steps if "heed" in step]
        named = {name for step in heeded for name in re.findall(r"<b>([^<]*)</b>", step[step.index("heed") :])}
        assert all("heed" in step or any(name in step for name in harmless) for step in steps)
        assert f"<dt>{ALWAYS}</dt>" in box
        for name in named:
            assert f"<dt>{name}</dt>" in box
            assert trade.cautions[name].split("'")[0] in box


def screens(workshop, **question):
    """Walk a visit by pressing the first key again and again, and a second time the second key."""
    for key in ("1", "2"):
        said: list[list[str]] = [[]]
        pressed = itertools.count()

        def ask(prompt, said=said, key=key, pressed=pressed):
            said.append([])
            return key if next(pressed) < 8 else "q"

        run(workshop.database, workshop.words, workshop.settings, Call(**question), ask=ask, say=lambda line, said=said: said[-1].append(line))  # fmt: skip
        yield [screen for screen in said if any(line.startswith("NEXT ") for line in screen)]


@pytest.mark.parametrize(
    ("kind", "complaint"),
    [("washing machine", "not draining"), ("fridge", "warm"), ("microwave oven", "no heat"), ("gas hob", "no flame")],
)  # fmt: skip
def test_a_conversation_shows_cautions_on_the_screen_of_the_step(workshop, kind, complaint):
    texts = dict(workshop.words.cautions().itertuples(index=False, name=None))
    trade = about(workshop.words, workshop.causes(kind=kind).question.kind)
    for walk in screens(workshop, kind=kind, complaint=complaint):
        assert walk
        read: set[str] = set()
        for screen in walk:
            name = next(line for line in screen if line.startswith("NEXT ")).removeprefix("NEXT ").split(" (")[0]
            warned = [line for line in screen if line.startswith("! ")]
            card = next((card for card in trade.checks if card.name == name), None)
            assert warned or (card is not None and card.cautions == (ALWAYS,)), name
            shown = {n for n in texts if any(n in line.split(":")[0] for line in warned)}
            read |= {n for n in texts if any(texts[n] in line for line in warned)}
            assert shown <= read
            assert ALWAYS in read  # told once, as the visit begins
            if card is not None:
                assert set(card.cautions) - {ALWAYS} <= shown


UNSAFE = [
    {"kind": "electric oven", "complaint": "not heating", "found": ["element=to earth"]},
    {"kind": "electric hob", "complaint": "glass cracked"},
    {"kind": "microwave oven", "complaint": "sparks inside"},
    {"kind": "washing machine", "complaint": "trips", "found": ["insulation=low"]},
]


def is_repair(do, name):
    """Whether a step repairs something: what only advises leaves the machine as it was."""
    return do in ("fit", "clear") and not is_handed_on(name)


@pytest.mark.parametrize("call", UNSAFE, ids=lambda call: f"{call['kind']}, {call['complaint']}")
def test_an_unsafe_plan_ends_with_its_repair_and_says_to_ask_again(workshop, call):
    asked = workshop.causes(**call)

    def ends(row):
        repairs = [at for at, step in enumerate(row["steps"]) if is_repair(step["do"], step["name"])]
        assert [at for at in repairs if at != len(row["steps"]) - 2] == []
        if repairs:
            assert row["steps"][-1]["name"] == "after the repair and its tests: ask again"
            assert "do not energise" in row["steps"][-1]["caution_names"]
            assert row["branches"] == []
        for branch in row["branches"]:
            if branch["then"]:
                ends(branch["then"])

    ends(tree(asked.visit))
    names = [step.do for step in asked.steps]
    repaired = next((at for at, step in enumerate(asked.steps) if is_repair(step.do, step.name)), None)
    assert repaired is None or asked.steps[repaired + 1].name == "after the repair and its tests: ask again"
    assert repaired is None or len(names) == repaired + 2


def test_a_visit_offers_no_check_after_the_repair_of_an_earth_fault(workshop):
    said: list[str] = []
    pressed = iter(["2", "1", *[""] * 4])
    told = run(workshop.database, workshop.words, workshop.settings, Call(**UNSAFE[0]), ask=lambda _: next(pressed, ""), say=said.append)  # fmt: skip
    steps = [line.removeprefix("NEXT ").split(" (")[0] for line in said if line.startswith("NEXT ")]
    assert steps == ["fit oven element", "after the repair and its tests: ask again"]
    assert told["outcome"] == "part needed"


def test_a_blown_fuse_is_an_ordinary_step(workshop, kinds):
    for kind in kinds:
        trade = about(workshop.words, kind)
        for cause in trade.repairs:
            if "fuse" in cause or "tap" in cause or "breaker" in cause:
                assert not trade.is_licensed(cause), (kind, cause)
    told = workshop.causes(kind="fridge", complaint="dead", found=["socket=dead"]).as_json()
    assert told["steps"][0]["do"] == "clear"
    assert "fuse" in told["steps"][0]["name"]


def test_sealed_system_and_other_licensed_causes_get_no_repair(workshop, kinds, answers):
    licensed = 0
    for asked in answers:
        for row in asked.causes:
            if asked.trade.is_licensed(row.cause):
                licensed += 1
                assert row.cured_by == ()
        if asked.visit is None:
            continue
        for act in asked.visit.acts:
            assert not REFERRED.search(act.name) or "refer socket" in act.name or "advise" in act.name
            assert not any(asked.trade.is_licensed(cause) for cause in act.cures)
    assert licensed


def test_a_likely_sealed_system_fault_is_referred(workshop):
    asked = workshop.causes(kind="fridge", complaint="warm", found=["compressor=silent", "start relay test=good", "evaporator=normal", "fan=runs", "condenser=clean", "door closes=tight", "thermostat test=good"])  # fmt: skip
    (referral,) = [step for step in asked.steps if "certified refrigerant" in step.name]
    assert referral.cautions == ("sealed system",)


def test_own_causes_that_speak_of_gas_or_refrigerant_are_licensed(workshop):
    trade = about(workshop.words, "fridge")
    for cause in ("lost refrigerant", "gas leak", "sealed-system leak"):
        assert trade.is_licensed(cause)
    assert not trade.is_licensed("door seal torn")


def test_a_kind_nobody_knows_still_says_isolate(workshop):
    asked = workshop.causes(kind="bread oven")
    assert asked.trade.cautions["isolate"] in asked.as_json()["cautions"]


@pytest.mark.parametrize("kind", ["electric oven", "tumble dryer", "washing machine", "dishwasher", "steam oven"])
@pytest.mark.parametrize("complaint", ["trips the electrics", "not heating", None])
def test_an_element_measured_to_earth_is_believed_and_nothing_is_energised(workshop, kind, complaint):
    asked = workshop.causes(kind=kind, complaint=complaint, found=["element=to earth"])
    told, lines = asked.as_json(), asked.lines()
    assert told["causes"][0]["cause"].endswith("to earth")
    assert told["causes"][0]["probability"] > 0.8
    assert all(step["look_minutes"] == 0 for step in told["steps"])  # measured: the eye adds nothing
    assert told["cautions"][0].startswith("Do not energise")
    assert lines[0].startswith("! do not energise")
    powered = {card.name for card in asked.trade.checks if card.power == "needed"}
    assert not powered & {step["name"] for step in every_step(tree(asked.visit))}


def test_a_cracked_hob_glass_is_not_checked_under_power(workshop):
    for complaint in ("glass cracked", "crack across the ceramic"):
        asked = workshop.causes(kind="electric hob", complaint=complaint)
        glass, energise, *_ = asked.as_json()["cautions"]
        assert glass.startswith("Cracked or broken glass")
        assert energise.startswith("Do not energise")
        assert asked.steps[0].name.startswith("do not use; isolate")
        powered = {card.name for card in asked.trade.checks if card.power == "needed"}
        assert not powered & {step["name"] for step in every_step(tree(asked.visit))}


def test_a_mains_filter_can_be_found_to_earth(workshop):
    asked = workshop.causes(kind="washing machine", complaint="trips", found=["mains filter test=to earth"])
    assert asked.causes[0].cause == "mains filter leakage"


def test_each_check_says_what_power_covers_and_water_it_needs(workshop):
    for card in workshop.words.checks().to_dict("records"):
        assert card["power"] in ("needed", "off", "any"), card["check"]
        assert card["covers"] in ("on", "off", "any"), card["check"]
        assert card["water"] in ("in", "out", "any"), card["check"]
        cautions = card["cautions"].split(";")
        if card["power"] == "needed":
            assert "isolate" not in cautions, card["check"]
            assert card["covers"] != "off", card["check"]
        if card["power"] == "off":
            assert cautions[0] in ("isolate", "microwave") or "battery" in cautions, card["check"]
        if card["access"]:
            assert card["covers"] == "off", card["check"]


def test_cautions_are_those_that_apply(workshop):
    for kind in ("fridge", "freezer", "fridge-freezer", "wine cooler"):
        trade = about(workshop.words, kind)
        named = [c for card in trade.checks for c in card.cautions] + [
            c for r in trade.repairs.values() for c in r.cautions
        ]
        assert "hot parts" not in named
    bolts = {
        kind
        for kind, names in workshop.words.kinds()[["kind", "cautions"]].itertuples(index=False)
        if "transit bolts" in names
    }
    assert bolts == {"washing machine", "washer-dryer"}
    texts = dict(workshop.words.cautions().itertuples(index=False, name=None))
    assert "leakage current" in texts["after repair"]
    assert "leakage of microwaves" in texts["after repair"]
    assert "electronics unplugged" in texts["insulation test"]
    assert "250 V" in texts["insulation test"]
    isolate = texts["isolate"]
    assert isolate.index("solate") < isolate.index("secure") < isolate.index("prove dead")


def test_every_action_without_a_part_has_its_own_cautions(workshop):
    for row in workshop.words.faults().to_dict("records"):
        if not row["parts"] and row["origin"] == "shipped":
            assert row["cautions"], (row["kinds"], row["cause"])


def test_a_cause_without_a_confirming_check_says_so(workshop, kinds):
    trades = {kind: about(workshop.words, kind) for kind in kinds}
    for row in workshop.words.faults().to_dict("records"):
        if row["origin"] != "shipped":
            continue
        for kind in row["kinds"].split("|"):
            checked = {card.finding for card in trades[kind].checks}
            stated = [piece.rsplit(" ", 1) for piece in row["expected"].split("|") if piece]
            shown = [s for s, p in stated if s.split("=")[0] in checked and float(p) >= 0.5]
            assert shown or row["confirmed_by"] == "nothing", (kind, row["cause"])
    told = workshop.causes(kind="washing machine", complaint="dead")
    rows = {row["cause"]: row["has_confirming_check"] for row in told.as_json()["causes"]}
    assert rows["control board failed"] is False
    assert rows["mains filter open"] is True
    assert any("control board failed" in line and "by exclusion" in line for line in told.lines())

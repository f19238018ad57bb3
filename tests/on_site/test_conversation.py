"""A visit step by step: numbers to press, undo, cannot tell, and a record that loads."""

from __future__ import annotations

import csv

import pytest

from pipeline import Workshop
from pipeline.call.question import Call
from pipeline.errors import UsageError
from pipeline.load.layout import FIELDS
from pipeline.on_site.conversation import run
from pipeline.on_site.record import append_record
from pipeline.on_site.step_by_step import Walk
from pipeline.on_site.step_lines import screen
from pipeline.on_site.visit_state import Visit
from pipeline.visit.ask import questions_of
from tests.worlds.empty import empty_workshop

ASKED = {"kind": "w/m", "make": "Tavrik", "age": "6", "complaint": "stops before spin", "code": None}


class Technician:
    """Presses keys in order, then stops; remembers the screens."""

    def __init__(self, *keys, **answers):
        self.keys, self.screens, self.asked = list(keys), [[]], []
        self.answers = {"Job number": "J-1", "Minutes": "45", **answers}

    def ask(self, prompt):
        self.screens.append([])
        self.asked.append(prompt)
        if "Enter" in prompt:
            return next((said for word, said in self.answers.items() if word in prompt), "")
        return self.keys.pop(0) if self.keys else "q"

    def say(self, line):
        self.screens[-1].append(line)

    @property
    def said(self):
        return [line for screen in self.screens for line in screen]

    def steps(self):
        return [line.split(" (")[0] for line in self.said if line.startswith("NEXT ")]


def visit(workshop, technician, record=None, begun=None, **more):
    return run(
        workshop.database, workshop.words, workshop.settings, Call(**{**ASKED, **more}), record=record, begun=begun,
        ask=technician.ask, say=technician.say,
    )  # fmt: skip


def until_cured(workshop, record=None, **more):
    """Press 1 from some step on until a repair is offered and cures, which names the cause offered first."""
    for first in ([], ["2"], ["2", "2"], ["1", "2"]):
        if visit(workshop, Technician(*first, *["1"] * 25), **more)["outcome"] == "fixed":
            return visit(workshop, Technician(*first, *["1"] * 25, really="a"), record, **more)
    raise AssertionError("no way through ends in a cure")


def test_stopping_at_once_records_nothing(workshop, tmp_path):
    told = visit(workshop, Technician("q"), tmp_path / "record.csv")
    assert told["outcome"] == ""
    assert (tmp_path / "record.csv").read_bytes() == b""


def test_an_answer_moves_the_odds_and_the_next_step(workshop):
    technician = Technician("1", "1")
    visit(workshop, technician)
    first, second, *_ = technician.steps()
    assert first != second
    odds = [line for line in technician.said if " · " in line and "%" in line]
    assert odds[0] != odds[1]


def test_what_to_carry_is_told_with_the_odds_by_then(workshop):
    walk = Walk(workshop.database, workshop.words, workshop.settings)
    (asked,) = questions_of(workshop.database, workshop.words, workshop.settings, [Call("w/m", complaint="leaking")])
    seen, told = Visit(asked), []
    for _ in range(2):
        now = seen.stand(walk).now
        (line,) = [line for line in screen(now, now.steps[0], set()) if line.startswith("carry: ")]
        part = line.removeprefix("carry: ").rpartition("%")[0].split("%")[0].rpartition(" ")[0]
        chance = sum(p for cause, p in now.odds.causes.items() if part in now.costs.repair(cause).parts)
        assert line.startswith(f"carry: {part} {chance:.0%}")
        told.append(line)
        assert seen.press(now, "2", workshop.words) == ""
    assert told[0] != told[1]


def test_undo_brings_the_very_same_screen_back(workshop):
    technician = Technician("1", "u", "q")
    visit(workshop, technician)
    steps = technician.steps()
    assert steps[0] == steps[2] != steps[1]
    odds = [line for line in technician.said if " · " in line and "%" in line]
    assert odds[0] == odds[2]


def test_undo_at_the_start_does_no_harm(workshop):
    technician = Technician("u", "u")
    visit(workshop, technician)
    assert len(set(technician.steps())) == 1


def test_cannot_tell_offers_another_check_and_keeps_the_odds(workshop):
    technician = Technician("0", "q")
    visit(workshop, technician)
    assert technician.steps()[0] != technician.steps()[1]
    odds = [line for line in technician.said if " · " in line and "%" in line]
    assert odds[0] == odds[1]


def test_something_else_seen_counts(workshop):
    technician = Technician("f water left=no", "q")
    told = visit(workshop, technician)
    assert told["answer"]["asked"]["found"] == ["water left=no"]


def test_all_that_one_line_says_was_seen_counts_and_how_it_was_read_is_told(workshop):
    technician = Technician("f water left: no; pump filter: clear", "f watter left: yes", "q")
    told = visit(workshop, technician)
    assert sorted(told["answer"]["asked"]["found"]) == ["pump filter=clear", "water left=yes"]
    assert [line for line in technician.said if line.startswith("Taken as")] == [
        "Taken as: water left no, pump filter clear",
        "Taken as: water left yes",
    ]
    assert any("watter left: yes" in line and "read as" in line for line in technician.said)


def test_an_earth_fault_told_on_the_job_is_overruled_by_nothing_said_afterwards(workshop):
    technician = Technician("f heater 0.2 meg to earth", "f heater good", "f insulation good", "q")
    told = visit(workshop, technician, complaint="trips the breaker")
    assert {"element=to earth", "insulation=low"} <= set(told["answer"]["asked"]["found"])
    assert told["answer"]["causes"][0]["cause"] == "heating element to earth"
    assert [line for line in technician.said if "were said" in line] == [
        "element: both good and to earth were said; to earth counts",
        "insulation: both good and low were said; low counts",
    ]


def test_clauses_of_a_line_that_say_nothing_are_told_beside_those_that_do(workshop):
    technician = Technician("f water left: no, the banana is ginger", "q")
    told = visit(workshop, technician)
    assert told["answer"]["asked"]["found"] == ["water left=no"]
    assert any("banana is ginger" in line and "ot understood" in line for line in technician.said)


def test_the_element_measured_on_the_job_is_the_one_to_fit_and_a_tight_hose_rules_a_loose_one_out(workshop):
    technician = Technician("f bottom element reads open", "q")
    told = visit(workshop, technician, kind="electric oven", complaint="not heating")
    assert told["answer"]["causes"][0]["cause"] == "base element open circuit"
    assert any("oven element open circuit" in line and line.startswith("Ruled out") for line in technician.said)
    technician = Technician("f hose clips tight", "q")
    told = visit(workshop, technician, complaint="leaks")
    assert "loose hose or clip" not in [row["cause"] for row in told["answer"]["causes"][:5]]


def test_a_wrong_key_is_explained(workshop):
    technician = Technician("z", "77", "f blorp", "q")
    visit(workshop, technician)
    assert sum(line.startswith("Press one of") for line in technician.said) == 2
    assert any("Not understood" in line for line in technician.said)


@pytest.mark.parametrize(
    ("typed", "refers"),
    [
        ("smell gas in kitchen", True),
        ("I can smell gas", True),
        ("got a shock off the door", False),
        ("smells of burning now", False),
        ("es riecht nach Gas", True),
    ],
)
def test_a_danger_is_heard_however_it_is_typed(workshop, typed, refers):
    technician = Technician(typed, "q")
    told = visit(workshop, technician)
    assert not any(line.startswith("Press one of") for line in technician.said)
    assert (told["outcome"] == "advice only") is refers
    cautions = [line for screen in technician.screens[1:] for line in screen if line.startswith("! ")]
    assert any(word in line for line in cautions for word in ("mell of gas", "lectric shock", "mell of burning"))


def test_what_is_typed_without_its_key_is_told_how_to_say(workshop):
    technician = Technician("sump is full of coins", "f", "q")
    visit(workshop, technician)
    wrong = [line for line in technician.said if line.startswith("Press one of")]
    assert [line.rpartition(": ")[2] for line in wrong] == ["f sump is full of coins", "f water left=no"]


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("burning smell from the motor", []),
        ("smell of burning and the terminal block is brown", ["wiring=damaged or wet"]),
        ("smells burnt, motor burnt out", ["drive motor=burnt"]),
    ],
)
def test_a_smell_of_burning_met_on_the_job_keeps_its_caution_and_shows_nothing_burnt(workshop, text, found):
    technician = Technician(f"f {text}", "q")
    told = visit(workshop, technician)
    assert "smells of burning" in told["record"]["complaint"]
    assert told["answer"]["asked"]["found"] == found
    assert any(line.startswith("! burning smell: ") for line in technician.screens[1])
    if not found:
        assert technician.steps()[1] == "NEXT look and smell for burnt parts"


def test_not_cured_rules_the_cause_out(workshop):
    technician = Technician(*["2"] * 12)
    told = visit(workshop, technician)
    tried = [step.removeprefix("NEXT ") for step in technician.steps()]
    assert len(tried) == len(set(tried)) or told["outcome"]
    assert sum(row["probability"] for row in told["answer"]["causes"]) <= 1.0 + 1e-6


def test_the_record_line_loads_and_says_what_was_seen(workshop, tmp_path):
    record = tmp_path / "record.csv"
    told = until_cured(workshop, record)
    assert told["outcome"] == "fixed"
    until_cured(workshop, record, complaint="leaking")
    with record.open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    assert len(lines) == 2
    assert tuple(lines[0]) == FIELDS
    assert lines[0]["cause"]
    assert lines[0]["findings"]
    with Workshop.open(empty_workshop(tmp_path / "new.duckdb")) as new:
        loaded = new.load([record]).as_json()["totals"]
        assert loaded["rejected"] == 0
        cause, outcome, minutes = new.database.connection.execute(
            "select cause, outcome, labour_minutes from visit order by visit_id limit 1"
        ).fetchall()[0]
        assert (cause, outcome, minutes) == (lines[0]["cause"], "fixed", 45)
        seen = new.database.connection.execute(
            "select list(finding || '=' || value) from visit_finding where visit_id = (select min(visit_id) from visit)"
        ).fetchall()[0][0]
        assert set(lines[0]["findings"].split("; ")) == set(seen)


def test_a_record_file_of_another_shape_is_refused_before_the_visit(workshop, tmp_path):
    wrong = tmp_path / "prices.csv"
    wrong.write_text("part,price\npump,3\n")
    technician = Technician("1")
    with pytest.raises(UsageError, match="not a record file"):
        visit(workshop, technician, wrong)
    assert technician.steps() == []
    assert wrong.read_text() == "part,price\npump,3\n"


def test_a_record_keeps_the_order_of_columns_it_finds(tmp_path):
    path = tmp_path / "own.csv"
    path.write_text("outcome,cause,appliance_kind,findings,visit_date,note", encoding="utf-8")
    append_record(path, {"visit_date": "2026-11-25", "appliance_kind": "w/m", "cause": "a, b", "outcome": "fixed"})
    assert path.read_text().splitlines()[1] == 'fixed,"a, b",w/m,,2026-11-25,'


def test_hostile_text_stays_one_line_of_the_record(tmp_path):
    path = tmp_path / "record.csv"
    append_record(path, {"visit_date": "2026-11-25", "complaint": 'x\n=cmd()|"y\x1b[2J'})
    with path.open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    assert len(lines) == 1
    assert "\x1b" not in lines[0]["complaint"]


def test_end_of_input_stops(workshop, monkeypatch):
    import io

    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    told = run(workshop.database, workshop.words, workshop.settings, Call(**ASKED))
    assert told["outcome"] == ""


def test_gas_ends_at_once_with_a_referral(workshop):
    technician = Technician("1", "1")
    told = visit(workshop, technician, kind="gas hob", complaint="will not light")
    assert told["outcome"] == "advice only"
    assert any("licensed for gas" in line for line in technician.said)
    assert technician.keys == ["1", "1"]


def test_every_line_fits_a_phone_or_is_a_caution(workshop):
    technician = Technician(*["1"] * 25)
    visit(workshop, technician)
    for shown in technician.screens[1:]:
        assert len([line for line in shown if line]) <= 14


def test_a_record_file_that_cannot_be_written_is_refused_before_the_visit(workshop, tmp_path):
    technician = Technician("1")
    with pytest.raises(UsageError, match="record file"):
        visit(workshop, technician, tmp_path / "no such folder" / "record.csv")
    assert technician.steps() == []


class Looker(Technician):
    """Presses 2 at checks and 3 when told to look at a part first; ends by handing over."""

    def ask(self, prompt):
        keys = self.said[-1] if self.said else ""
        super().ask(prompt)
        return (
            ""
            if "Enter" in prompt
            else "3"
            if "3 looks good" in keys
            else "1"
            if "part needed" in keys or "1 done" in keys
            else "2"
        )


@pytest.mark.parametrize("key", ["2", "x 1", "q"])
def test_a_key_pressed_once_more_is_no_cause_and_no_job_number(workshop, key):
    ended = visit(workshop, Technician("x 2", really=key, **{"Job number": "q"}))["record"]
    assert ended["cause"] == ""
    assert ended["job_no"] != "q"


def test_who_only_presses_enter_names_no_cause_and_the_repair_that_cured_is_offered_first(workshop):
    for first in ([], ["2"], ["2", "2"], ["1", "2"]):
        technician = Technician(*first, *["1"] * 25)
        ended = visit(workshop, technician)
        if ended["outcome"] == "fixed":
            break
    assert ended["outcome"] == "fixed" and ended["record"]["parts"] + ended["record"]["work_done"]
    assert ended["record"]["cause"] == ""
    named = until_cured(workshop)["record"]["cause"]
    assert named in [row["cause"] for row in ended["answer"]["causes"]]
    (asked,) = [prompt for prompt in technician.asked if "really" in prompt]
    assert f"a {named}" in asked


@pytest.mark.parametrize(
    ("really", "again", "cause", "is_told"),
    [
        ("worn bearings", "", "worn bearings", False),
        ("f zorbled 0.02 megohm to earth", "", "f zorbled 0.02 megohm to earth", True),
        ("f zorbled 0.02 megohm to earth", "bearings worn", "bearings worn", True),
    ],
)
def test_a_cause_that_no_list_knows_is_told_and_asked_for_once_more(workshop, really, again, cause, is_told):
    technician = Technician("x 7", really=really, **{"Keep it": again})
    assert visit(workshop, technician)["record"]["cause"] == cause
    assert any("No list knows" in line for line in technician.said) is is_told
    assert sum("Keep it" in prompt for prompt in technician.asked) == is_told


def test_no_visit_ends_as_fixed_with_what_was_seen_burnt_still_in(workshop):
    technician = Technician("x 7", "f burnt part=none", "x 7")
    asked = {"complaint": "smells of burning", "found": ["burnt part=motor"]}
    assert visit(workshop, technician, **asked)["outcome"] == "fixed"
    assert sum("not put right" in line for line in technician.said) == 1
    assert visit(workshop, Technician("x 7", "x 1"), **asked)["outcome"] == "part needed"


def test_one_repair_does_not_end_a_visit_where_two_things_were_seen_burnt(workshop):
    technician = Technician("1", "x 2")
    found = ["burnt part=motor", "wiring=damaged or wet"]
    ended = visit(workshop, technician, kind="tumble dryer", complaint="smells of burning", found=found)
    assert ended["outcome"] == "not fixed"
    assert sum("not put right" in line for line in technician.said) == 1


def test_a_part_that_looks_good_is_not_fitted_and_its_cause_is_ruled_out(workshop):
    technician = Looker()
    told = visit(workshop, technician, kind="oven", complaint="not heating")
    looks = [step for step in technician.steps() if "faulty" in step]
    assert looks
    assert len(looks) == len(set(looks))
    assert "looked at" in told["record"]["work_done"]
    assert told["record"]["parts"] == ""
    named = [line for line in technician.said if line.startswith("NEXT fit") and "faulty" in line]
    assert all("look 7 min, fit " in line and "£" in line for line in named)


def test_a_visit_broken_off_goes_on_and_is_forgotten_once_it_ended(workshop, tmp_path):
    begun = tmp_path / "workshop.begun"
    first = Technician("1")
    visit(workshop, first, begun=begun)
    assert any("ask the same call again" in line for line in first.said)
    assert "Tavrik" not in begun.read_text(encoding="utf-8")
    again = Technician("x 6")
    told = visit(workshop, again, begun=begun)
    assert any("broken off" in line for line in again.said)
    assert again.steps()[0] == first.steps()[-1]
    assert told["outcome"] == "declined"
    fresh = Technician("q")
    visit(workshop, fresh, begun=begun)
    assert fresh.steps()[0] == first.steps()[0]
    assert not any("broken off" in line for line in fresh.said)


def test_a_damaged_file_of_visits_broken_off_is_told(workshop, tmp_path):
    begun = tmp_path / "workshop.begun"
    begun.write_text("[1", encoding="utf-8")
    with pytest.raises(UsageError, match="broken off"):
        visit(workshop, Technician("q"), begun=begun)


@pytest.mark.parametrize(
    ("key", "outcome"), [("x 5", "no fault found"), ("x 6", "declined"), ("x 1", "part needed"), ("x 7", "fixed")]
)
def test_a_visit_ends_as_it_ended(workshop, key, outcome):
    technician = Technician("1", key, really="worn bearings", ordered="bearing kit")
    line = visit(workshop, technician)["record"]
    assert line["outcome"] == outcome
    assert line["cause"] == ("" if outcome == "no fault found" else "worn bearings")
    assert ("ordered: bearing kit" in line["work_done"]) is (outcome == "part needed")
    assert line["findings"]


def test_how_a_visit_can_end_is_told(workshop):
    technician = Technician("x", "x 99", "q")
    visit(workshop, technician)
    assert sum("no fault found" in line for line in technician.said) == 2


def test_the_record_loads_back_whole(workshop, tmp_path):
    record = tmp_path / "record.csv"
    technician = Technician("1", "x 7", really="bearings worn", Minutes="1h20")
    visit(workshop, technician, record, serial="SN 12345", customer="Mrs Nobody", model="TW540S")
    assert any("days without a callback" in line for line in technician.said)
    with record.open(encoding="utf-8", newline="") as file:
        (line,) = csv.DictReader(file)
    with Workshop.open(empty_workshop(tmp_path / "new.duckdb")) as new:
        assert new.load([record]).as_json()["totals"]["rejected"] == 0
        got = new.database.connection.execute(
            "select visit.job_no, visit.kind, visit.make, visit.model, labour_minutes, outcome, cause, serial, "
            "visit.customer_hash is not null from visit join appliance using (appliance_id)"
        ).fetchall()
        found = new.database.connection.execute("select finding || '=' || value from visit_finding").fetchall()
    assert got == [("J-1", "washing machine", "Tavrik", "TW540S", 80, "fixed", got[0][6], "SN12345", True)]
    assert got[0][6]
    assert {text for (text,) in found} == set(line["findings"].split("; "))


@pytest.mark.parametrize("width", [40, 80])
def test_no_line_is_wider_than_the_terminal(workshop, monkeypatch, width):
    import io

    class Terminal(io.StringIO):
        def isatty(self):
            return True

    class Keys(io.StringIO):
        def readline(self, *size):
            line = super().readline(*size)
            screen.write(line)
            return line

    screen = Terminal()
    monkeypatch.setenv("COLUMNS", str(width))
    monkeypatch.setattr("sys.stdin", Keys("1\n2\n0\nx\nx 7\n\n\n38 min\n"))
    monkeypatch.setattr("sys.stdout", screen)
    told = run(workshop.database, workshop.words, workshop.settings, Call(**ASKED))
    assert told["record"]["minutes"] == "38"
    assert told["record"]["photos"] == ""
    assert max(map(len, screen.getvalue().splitlines())) <= width


def test_local_rules_are_told_once_and_a_link_to_photographs_is_kept(workshop):
    technician = Technician(*["2"] * 4, "x 4")
    ended = visit(workshop, technician, kind="fridge", complaint="not cold")
    assert sum("local rules" in line for line in technician.said) == 1
    assert ended["outcome"]
    assert ended["record"]["photos"] == ""
    technician = Technician(*["2"] * 4, "x 4", Link="https://photos.example/1.jpg")
    assert visit(workshop, technician)["record"]["photos"] == "https://photos.example/1.jpg"


@pytest.mark.parametrize("prompt", ["photographs", "Job number", "Minutes"])
def test_a_danger_typed_at_a_closing_question_turns_the_visit_back(workshop, tmp_path, prompt):
    record = tmp_path / "record.csv"
    technician = Technician("x 3", **{prompt: "she said it gave her an electric shock"})
    told = visit(workshop, technician, record)
    assert told["outcome"] == ""
    assert record.read_bytes() == b""
    assert "gives electric shock" in told["answer"]["asked"]["complaint"]
    assert any("touch neither it nor metal near it" in line for line in technician.said)


def test_what_the_visit_knows_already_may_be_said_at_its_end(workshop, tmp_path):
    technician = Technician("x 3", photographs="shock at the door.jpg")
    told = visit(workshop, technician, tmp_path / "record.csv", complaint="gave her an electric shock")
    assert told["outcome"] != ""
    assert told["record"]["photos"] == "shock at the door.jpg"

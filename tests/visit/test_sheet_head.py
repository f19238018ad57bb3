"""What a technician sees first: the danger that was said, at the head; one figure where there is one; no idle loads."""

from __future__ import annotations

import re

import pytest

from pipeline.visit.plan_tree import tree

CALLS = """appliance_kind,complaint,serial
dishwasher,"leaks, water has got into the socket under the sink",
gas cooker,flames yellow and black soot on the pans,
washing machine,wandergugel flurmig,
washing machine,does not drain,
"""


@pytest.fixture(scope="module")
def sheets(workshop, tmp_path_factory):
    folder = tmp_path_factory.mktemp("head")
    (folder / "calls.csv").write_text(CALLS, encoding="utf-8")
    with pytest.MonkeyPatch.context() as bounded:
        bounded.setattr("pipeline.on_site.tapped_tree.MOST_POINTS", 1)
        told = workshop.round(folder / "calls.csv", folder / "round.html")
    page = (folder / "round.html").read_text(encoding="utf-8")
    return told, page, re.findall(r'<article class="sheet.*?</article>', page, flags=re.DOTALL)


def test_the_danger_said_stands_at_the_head_of_its_sheet(sheets):
    _, _, (wet, gas, _, plain) = sheets
    for sheet, text in ((wet, "Off at the board first"), (gas, "gas")):
        assert 0 < sheet.index('class="cautions danger"') < sheet.index('class="way"')
        assert text in sheet[sheet.index('class="cautions danger"') : sheet.index('class="way"')]
    assert "danger" not in plain
    assert "do not energise (water at the mains)" in wet
    assert wet.rindex("<dt>local rules</dt>") > wet.rindex("<dt>insulation test</dt>")


def test_nothing_is_loaded_for_a_call_of_which_nothing_was_understood(sheets):
    told, page, _ = sheets
    bearings = [row for row in told["van"] if row["part"] == "bearing kit"]
    assert all(row["carry"] == 0 and row["expected_use"] < 0.05 for row in bearings)
    assert any("ask first (3)" in str(remark) for remark in told["remarks"])
    assert "ask first (3)" in page


def test_a_fork_says_rare_once(workshop):
    for kind, complaint in (("washing machine", "does not drain"), ("dishwasher", "leaks"), ("fridge", "warm")):
        rows = [tree(workshop.causes(kind=kind, complaint=complaint).visit)]
        while rows:
            row = rows.pop()
            assert len([branch for branch in row["branches"] if branch["then"] is None]) <= 1
            rows += [branch["then"] for branch in row["branches"] if branch["then"]]


def test_the_danger_comes_first_a_line_each_and_what_always_holds_last(workshop):
    lines = workshop.causes(kind="dishwasher", complaint="leaks, water has got into the socket").lines()
    assert lines[0].startswith("! water at mains: ")
    assert lines[1].startswith("! do not energise (water at the mains): ")
    assert lines[2].startswith("dishwasher")
    assert "! local rules" in lines[-1]
    assert "broken glass" not in lines[1]


def test_one_figure_where_the_quote_is_one_and_what_is_in_it(workshop):
    glass = workshop.causes(kind="electric hob", complaint="glass cracked").lines()
    (quote,) = [line for line in glass if line.startswith("Quote")]
    assert "without the call-out" in quote
    low, *_, high = workshop.causes(kind="electric hob", complaint="glass cracked").quote["money"]
    assert (" to " in quote) is (round(low) != round(high))


@pytest.mark.parametrize("what", ["wiring", "motor", "board"])
def test_a_branch_with_something_burnt_ends_with_it_put_right(no_jobs, what):
    whole = tree(no_jobs.causes(kind="t/d", complaint="no heat, smells of burning").visit)
    branch = next(one for one in whole["branches"] if what in str(one["label"]))
    names = [str(step["name"]) for step in branch["then"]["steps"]]
    assert any(what in name for name in names)
    assert len(names) == 2
    assert "burnt" not in names[0] or "wiring" in names[0]

"""One question answered from the demo's last year: read as a record is read, honest, short, and quick to start."""

from __future__ import annotations

import json
import subprocess
import sys
from copy import deepcopy
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from pipeline import Workshop
from pipeline.advice.kept import AdviceRow
from pipeline.call.question import Call, Question
from pipeline.call.read_call import read_questions
from pipeline.errors import UsageError
from pipeline.settings import Settings
from pipeline.terminal.text import wrapped
from pipeline.visit import ask as answers
from pipeline.visit.advice_for_call import for_parts
from pipeline.visit.costs import LISTED_WORTH
from pipeline.visit.odds import model_for, odds_of, opinions
from pipeline.visit.similar_jobs import MOST_ALIKE, gather
from pipeline.words.appliance import about
from tests.worlds.empty import empty_workshop
from tests.worlds.visit_workshop import folder

ASKED = {
    "kind": "w/m",
    "make": "Tavrik",
    "age": "nearly 6 yrs",
    "complaint": "stops before spin, lamps flashing",
    "found": ["water left=no"],
}


@pytest.fixture(scope="module")
def asked(workshop):
    return workshop.causes(**ASKED)


def test_json_holds_the_contract(asked):
    told = json.loads(json.dumps(asked.as_json(), allow_nan=False))
    assert set(told) >= {
        "model", "asked", "not_understood", "evidence", "causes", "none_of_these", "steps", "expected", "carry", "quote",
        "cautions",
    }  # fmt: skip
    assert set(told["causes"][0]) >= {"cause", "probability", "low", "high", "similar_jobs", "cured_by", "jobs"}
    assert set(told["steps"][0]) >= {"do", "name", "minutes", "money", "cures_probability", "tells", "cautions"}
    assert set(told["expected"]) == {"minutes", "money", "visits"}
    assert set(told["carry"][0]) == {"part", "probability", "worth_it", "on_van", "in_store"}
    assert told["quote"]["p10"] <= told["quote"]["p50"] <= told["quote"]["p90"]
    assert told["asked"]["kind"] == "washing machine"
    assert told["asked"]["age_years"] == pytest.approx(6, abs=0.5)
    assert told["asked"]["found"] == ["water left=no"]


def test_probabilities_add_to_one_and_lie_in_their_intervals(asked):
    assert sum(asked.odds.causes.values()) + asked.odds.none_of_these == pytest.approx(1)
    for row in asked.causes:
        assert row.low <= row.probability <= row.high
    assert [row.probability for row in asked.causes] == sorted((row.probability for row in asked.causes), reverse=True)


def test_an_answer_says_what_its_ranges_are_and_never_what_they_are_not(asked):
    learned = replace(asked, odds=replace(asked.odds, width=np.ones(7)))
    by_jobs = replace(asked, odds=replace(asked.odds, width=np.zeros(0)))
    for answer, says in ((learned, "In trials the truth lay inside"), (by_jobs, f"{asked.similar_jobs} similar job")):
        assert sum(line.startswith("Ranges beside causes") and says in line for line in answer.lines()) == 1
        assert says in json.loads(json.dumps(answer.as_json()))["evidence"]["ranges"]
    no_cause = replace(asked, causes=())
    assert no_cause.as_json()["evidence"]["ranges"] is None


def test_why_is_what_the_odds_would_be_had_a_fact_not_been_told(workshop, asked):
    first = asked.as_json()["causes"][0]
    without = workshop.causes(**{**ASKED, "found": []}).as_json()["causes"]
    before = next(row["probability"] for row in without if row["cause"] == first["cause"])
    told = {reason["fact"]: reason["odds_ratio"] for reason in first["why"]}
    odds = [p / (1 - p) for p in (first["probability"], before)]
    assert told["water left=no"] == pytest.approx(odds[0] / odds[1], rel=0.02)


def test_similar_jobs_are_real_and_do_not_contradict_what_was_seen(workshop, asked):
    jobs = [job for row in asked.causes for job in row.jobs]
    assert jobs
    for row in asked.causes:
        for job in row.jobs:
            kinds, causes, findings = workshop.database.connection.execute(
                "select list(kind), list(cause), flatten(list(findings)) from cause_example where job_no = ?", [job]
            ).fetchall()[0]
            assert "washing machine" in kinds
            assert row.cause in causes
            assert "water left=yes" not in (findings or []) or len(kinds) > 1


def test_of_each_cause_the_jobs_most_alike_are_kept_and_all_are_counted(workshop, monkeypatch):
    question = Question("washing machine", symptoms=("does not drain",))
    whole = gather_one(workshop, question)
    counted = workshop.database.connection.execute(
        "select cause, count(*) from cause_example where kind = 'washing machine' "
        "and list_contains(symptoms, 'does not drain') group by cause"
    ).fetchall()
    assert whole.similar_jobs == dict(counted)
    assert max(whole.similar_jobs.values()) <= MOST_ALIKE
    monkeypatch.setattr("pipeline.visit.similar_jobs.MOST_ALIKE", 3)
    few = gather_one(workshop, question)
    assert few.similar_jobs == whole.similar_jobs
    assert len(few.similar.cause) == sum(min(jobs, 3) for jobs in few.similar_jobs.values())
    kept = pd.DataFrame(vars(whole.similar)).groupby("cause").head(3).reset_index(drop=True)
    pd.testing.assert_frame_equal(pd.DataFrame(vars(few.similar)), kept)


def test_calls_asked_together_get_the_answers_they_get_alone(workshop):
    questions = [
        Question("washing machine", symptoms=("does not drain",), findings={"water left": "no"}, age_years=6.0),
        Question("fridge"),
        Question("washing machine", symptoms=("does not drain",), age_years=2.0),
        Question("dishwasher", symptoms=("leaks", "does not drain"), codes=("K07",)),
        Question("a kind nobody knows"),
        Question("washing machine", symptoms=("does not drain",), findings={"water left": "no"}, age_years=1.0),
    ]
    together = answers.ask(workshop.database, workshop.words, workshop.settings, questions)
    for question, one in zip(questions, together, strict=True):
        alone = answers.answer(workshop.database, workshop.words, workshop.settings, question)
        assert answers.answered(one, []).as_json() | {"advice": []} == alone.as_json() | {"advice": []}


def test_the_answer_is_short_and_says_what_stands_behind_it(asked):
    lines = asked.lines()
    assert sum(not line.startswith("!") for line in lines) <= 18
    assert "similar job" in lines[0]
    assert "No model is trained" in lines[0]


@pytest.mark.parametrize(
    "question",
    [
        {"kind": "w/m"},
        {"kind": "washing machine", "complaint": "leaking", "make": "Tavrik", "code": "K07", "age": "2y10m"},
        {"kind": "fridge freezer", "complaint": "warm", "found": ["compressor=clicks", "evaporator=normal"]},
        {"kind": "microwave", "complaint": "no heat but runs"},
        {"kind": "gas hob", "complaint": "will not light"},
        {"kind": "bread oven", "complaint": "smokes"},
        {"kind": "dishwasher", "complaint": "zzz qqq", "found": ["gibberish"]},
    ],
)
def test_every_question_gets_an_answer_of_at_most_18_lines_beside_its_cautions(workshop, question):
    asked = workshop.causes(**question)
    lines = asked.lines()
    assert len(lines) > 1
    assert sum(not line.startswith("!") for line in lines) <= 18
    json.dumps(asked.as_json(), allow_nan=False)


def test_few_similar_jobs_are_called_few(workshop):
    asked = workshop.causes(kind="vacuum cleaner", complaint="no suction")
    count = len(asked.evidence.similar.cause)
    assert 0 < count < 30
    assert f"{count} similar job" in asked.note
    assert ": few" in asked.note


def test_cautions_share_the_last_lines_evenly(workshop):
    for kind in ("washing machine", "microwave oven", "fridge-freezer"):
        asked = workshop.causes(kind=kind)
        lines = [line for line in asked.lines() if line.startswith("! ")]
        whole = " ".join(f"! {name}: {asked.trade.cautions[name]}" for name in asked.caution_names())
        assert " ".join(lines) == whole
        assert max(map(len, lines)) <= len(whole) / len(lines) + max(map(len, asked.trade.cautions.values()))


def test_a_terminal_breaks_lines_between_words():
    line = " 1 a check with a long name (3 min). normal: this; silent: that [isolate, water]"
    broken = wrapped([line, "", "short"], 40)
    assert all(len(piece) <= 40 for piece in broken)
    assert " ".join(" ".join(broken).split()) == " ".join(f"{line} short".split())
    assert broken[-2:] == ["", "short"]
    assert wrapped([line]) == [line]


def test_what_is_not_understood_is_said(workshop):
    asked = workshop.causes(kind="dishwasher", complaint="not draining, wobblefritz", age="sometime", found=["blorp"])
    assert "wobblefritz" in asked.question.not_understood
    assert "sometime" in asked.question.not_understood
    assert any(line.startswith("Not understood") for line in asked.lines())


def test_no_kind_is_refused(workshop):
    with pytest.raises(UsageError):
        workshop.causes(kind="  ")


def test_negated_complaints_do_not_count(workshop):
    asked = workshop.causes(kind="washing machine", complaint="does not spin, no leaks")
    assert "does not spin" in asked.question.symptoms
    assert "leaks" not in asked.question.symptoms


def test_a_question_reads_as_its_record_was_read(workshop):
    """The same written cells give the same terms through `load` and through `causes`: there is one way to read."""
    rows = workshop.database.connection.execute(
        "select raw_record.appliance_kind, raw_record.make, raw_record.model, raw_record.age, raw_record.complaint, "
        "raw_record.fault_code, raw_record.findings, visit.visit_id, visit.visit_date, visit.kind, visit.make, "
        "visit.model, visit.model_family, stage_visit.age_years "
        "from raw_record join stage_visit on stage_visit.record_id = raw_record.record_id "
        "join visit on visit.visit_id = stage_visit.visit_id order by hash(raw_record.record_id) limit 40"
    ).fetchall()
    compared = 0
    for kind, make, model, age, complaint, code, findings, visit_id, day, *read in rows:
        call = Call(kind, make, model, age, complaint, code, found=[findings] if findings else [])
        question = read_questions(workshop.words, workshop.database, [call], on=day)[0]
        assert (question.kind, question.make, question.model, question.model_family) == tuple(read[:4])
        assert question.age_years == (pytest.approx(read[4]) if read[4] is not None else None)
        stored = workshop.database.connection.execute(
            "select source, list(distinct symptom order by symptom) from stage_symptom "
            "where visit_id = ? and not is_negated group by source", [visit_id]
        ).fetchall()  # fmt: skip
        assert sorted(question.symptoms) == dict(stored).get("complaint", [])
        assert sorted(question.codes) == dict(stored).get("code", [])
        seen = workshop.database.connection.execute(
            "select finding, value from stage_finding where visit_id = ?", [visit_id]
        ).fetchall()
        told = {tuple(term.split("=")) for piece in question.heard if piece.how == "finding" for term in piece.terms}
        assert set(question.findings.items()) - told <= set(seen)  # what the customer told is no finding of a visit
        assert set(question.findings) - {name for name, _ in told} <= {finding for finding, _ in seen}
        assert {finding for finding, _ in seen} <= set(question.findings)
        compared += 1
    assert compared == 40


class OneOpinion:
    """A model that knows two causes of washing machines and one of nothing the lists know."""

    classes_ = np.array(["blocked pump filter", "level sensor fault", "haunted"], dtype=object)
    columns: tuple[object, ...] = ()
    text = None
    width = np.zeros(0)

    def predict_proba(self, frame):
        return np.tile([0.6, 0.2, 0.2], (len(frame), 1))

    def none_of_these(self, frame):
        return np.full(len(frame), 0.1)


def gather_one(workshop, question):
    return gather(workshop.database, [question], {question.kind: about(workshop.words, question.kind)})[0]


def test_the_model_speaks_for_the_causes_of_the_kind_alone(workshop, monkeypatch):
    monkeypatch.setattr("models.causes.evidence.outside_notes", lambda _, asked: [None] * len(asked))
    question = Question("washing machine", symptoms=("does not drain",))
    got = odds_of(question, about(workshop.words, question.kind), gather_one(workshop, question), OneOpinion(), "0001")
    assert got.causes == pytest.approx({"blocked pump filter": 0.675, "level sensor fault": 0.225})
    assert got.none_of_these == pytest.approx(0.1)


def test_what_this_workshop_met_with_a_complaint_is_not_ruled_out_by_the_lists(workshop, monkeypatch):
    monkeypatch.setattr("models.causes.evidence.outside_notes", lambda _, asked: [None] * len(asked))
    question = Question("washing machine", symptoms=("trips supply",))
    trade, found = about(workshop.words, question.kind), gather_one(workshop, question)
    never, seldom, often = (
        odds_of(question, trade, replace(found, similar_jobs=jobs), OneOpinion(), "0001").causes["blocked pump filter"]
        for jobs in ({}, {"blocked pump filter": 2}, {"blocked pump filter": 3})
    )
    assert never == seldom < 0.2
    assert often > 0.5


def test_without_a_trained_model_the_lists_answer_and_the_jobs_correct_them(workshop, tmp_path):
    question = Question("washing machine", symptoms=("does not spin",))
    seen = replace(question, findings={"brushes": "worn"})
    with Workshop.open(empty_workshop(tmp_path / "new.duckdb")) as empty:
        model, name = model_for(empty.database, empty.words)
        listed, told = (causes for causes, _, _ in opinions([question, seen], model))
    assert name is None
    shares = about(workshop.words, "washing machine").shares["does not spin"]
    among = sum(listed[cause] for cause in shares)
    assert among > 0.85
    for cause, share in shares.items():
        assert listed[cause] / among == pytest.approx(share / sum(shares.values()), abs=0.03)
    assert told["worn motor brushes"] > 0.7 > 2 * listed["worn motor brushes"]
    model, _ = model_for(workshop.database, workshop.words)
    corrected = opinions([question], model)[0][0]
    jobs = gather_one(workshop, question).similar_jobs
    fits = [sum(n * np.log(told[cause]) for cause, n in jobs.items()) for told in (listed, corrected)]
    assert fits[1] > fits[0]


def test_the_plan_costs_no_more_than_repairs_alone(asked):
    assert asked.visit.plan.cost <= asked.visit.plan.repairs_alone + 1e-9
    assert asked.visit.money <= asked.visit.plan.cost + asked.costs.besides * asked.costs.rate + 1e-9


def test_prices_and_minutes_lean_on_the_workshops_own_jobs(workshop, asked):
    costs = asked.costs
    jobs, paid = costs.records.prices["drain pump"]
    listed = asked.trade.parts["drain pump"].price
    assert costs.price("drain pump") == pytest.approx((jobs * paid + LISTED_WORTH * listed) / (jobs + LISTED_WORTH))
    assert costs.price("no such part") == 0.0


def test_carry_follows_the_chance_of_use(asked):
    chances = [row.probability for row in asked.visit.carry]
    assert chances == sorted(chances, reverse=True)
    worth = {row.worth_it for row in asked.visit.carry if row.probability > 0.05}
    assert worth <= {True}


ROW = AdviceRow("level sensor", ("washing machine",), None, None, None, "air tube not recorded", 14, 19, 900.0, "blow through air tube", ())  # fmt: skip


def test_advice_holds_only_where_its_conditions_do():
    question = Question("washing machine", symptoms=("does not drain",))
    assert for_parts([ROW], question, ["level sensor"]) == (ROW,)
    assert for_parts([ROW], question, ["drain pump"]) == ()
    assert for_parts([ROW], replace(question, findings={"air tube": "clear"}), ["level sensor"]) == ()
    assert for_parts([ROW], Question("dishwasher"), ["level sensor"]) == ()


def test_advice_stands_beside_the_part_with_its_numbers(workshop, monkeypatch):
    monkeypatch.setattr(answers, "kept", lambda _: [ROW])
    asked = workshop.causes(kind="washing machine", complaint="not draining")
    line = next(line for line in asked.lines() if "replaced needlessly" in line)
    assert "14 of 19" in line
    assert "blow through air tube" in line
    assert "[isolate, " in line
    assert asked.as_json()["advice"][0]["count"] == 14


def test_a_remark_on_replacing_needs_enough_jobs(workshop):
    remarks = {}
    for beyond, known in ((3, 9), (2, 20), (9, 30)):
        (asked,) = answers.ask(workshop.database, workshop.words, Settings(), [Question("fridge", symptoms=("warm",))])
        changed = replace(asked, evidence=replace(asked.evidence, beyond_repair=(beyond, known)))
        remarks[beyond, known] = answers.answered(changed, []).remark
    assert remarks[3, 9] == "" == remarks[2, 20]
    assert "9 of 30" in remarks[9, 30]


def test_a_cold_answer_loads_no_heavy_module():
    code = (
        "import sys; from pipeline import Workshop\n"
        f"with Workshop.open({str(folder() / 'workshop.duckdb')!r}, read_only=True) as w:\n"
        "    w.causes(kind='w/m', complaint='not draining').lines()\n"
        "print([m for m in ('sklearn', 'scipy', 'vl_convert', 'jinja2') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_text_of_a_question_cannot_act_on_a_terminal(workshop):
    asked = workshop.causes(
        kind="washing machine", make="\x1b[2Jevil", complaint="not draining \x1b]0;x\x07 =1+1\nsecond"
    )
    for line in asked.lines():
        assert "\x1b" not in line
        assert "\n" not in line


def test_the_jobs_that_questions_share_stay_as_they_were(workshop):
    (asked,) = answers.ask(workshop.database, workshop.words, Settings(), [Question("washing machine")])
    similar, before = asked.evidence.similar, deepcopy(asked.evidence.similar)
    answers.answered(asked, [])
    pd.testing.assert_frame_equal(pd.DataFrame(vars(similar)), pd.DataFrame(vars(before)))

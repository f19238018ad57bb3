"""The word lists against the demo's own truth: what every complaint, outcome, code, cause and finding really says.

Only the file of the tool's own layout is read here; its truth stands in the demo's truth file.
"""

from __future__ import annotations

import pandas as pd
import pytest

import demo_data
from demo_data import generator
from pipeline.words import Words


@pytest.fixture(scope="module")
def records() -> pd.DataFrame:
    jobs = pd.read_csv(demo_data.FILES["jobs"], dtype="str", keep_default_na=False)
    jobs["line_no"] = (jobs.index + 2).astype("str")
    truth = pd.read_csv(generator.TRUTH_VISITS, dtype="str", keep_default_na=False)
    truth = truth[truth["file"] == demo_data.FILES["jobs"].name]
    return truth.merge(jobs, on="line_no", suffixes=("_truth", ""))


@pytest.fixture(scope="module")
def words() -> Words:
    return Words.load()


def test_complaints_and_denials(words: Words, records: pd.DataFrame) -> None:
    found = words.find_symptoms(records["complaint"], records["kind"])
    read: dict[int, dict[str, str]] = {}
    for row, symptom, negated, doubtful in found.itertuples(index=False):
        read.setdefault(row, {})[symptom] = "-" if negated else "?" if doubtful else ""
    right = missed = extra = denied = denied_right = doubted = doubted_right = 0
    for row, cell in enumerate(records["symptoms"]):
        truth = {piece.lstrip("-?~"): piece[0] if piece[0] in "-?~" else "" for piece in cell.split("|") if piece}
        own = {symptom for symptom, mark in truth.items() if mark == "~"}  # said in words that stand in no list
        said = {symptom for symptom, mark in truth.items() if mark not in ("-", "~")}
        got = {symptom for symptom, mark in read.get(row, {}).items() if mark != "-"} - own
        right, missed, extra = right + len(got & said), missed + len(said - got), extra + len(got - said)
        for symptom, mark in truth.items():
            denied += mark == "-"
            denied_right += mark == "-" and read.get(row, {}).get(symptom) == "-"
            doubted += mark == "?"
            doubted_right += mark == "?" and read.get(row, {}).get(symptom) == "?"
    assert right > 1000
    assert denied > 100
    assert right / (right + extra) >= 0.97, f"precision {right}/{right + extra}"
    assert right / (right + missed) >= 0.97, f"recall {right}/{right + missed}"
    assert denied_right / denied >= 0.98, f"denied {denied_right}/{denied}"
    assert doubted_right / doubted >= 0.9, f"doubtful {doubted_right}/{doubted}"


def test_kinds_outcomes_codes_causes(words: Words, records: pd.DataFrame) -> None:
    kinds = words.match("kind", records["appliance_kind"])["term"]
    assert (kinds == records["kind"]).mean() >= 0.99
    outcomes = words.match("outcome", records["outcome"])["term"].fillna("unknown")
    assert (outcomes == records["outcome_truth"]).mean() >= 0.99
    codes = words.codes(records["fault_code"], records["make"]).groupby("row")["code"].agg("|".join)
    codes = codes.reindex(range(len(records)), fill_value="")
    assert (codes.to_numpy() == records["code"].to_numpy()).mean() >= 0.99
    named = records[records["recorded_cause"] != ""]
    causes = words.match("cause", named["cause"], named["kind"])["term"]
    assert (causes == named["recorded_cause"].str.lstrip("?")).mean() >= 0.97


def test_findings(words: Words, records: pd.DataFrame) -> None:
    found = words.find_findings(records["findings"], records["kind"])
    read = set(zip(found["row"], found["finding"] + "=" + found["value"], strict=True))
    truth = {(row, piece) for row, cell in enumerate(records["findings_truth"]) for piece in cell.split("|") if piece}
    assert len(truth) > 1000
    assert len(read & truth) / len(read) >= 0.97
    assert len(read & truth) / len(truth) >= 0.97

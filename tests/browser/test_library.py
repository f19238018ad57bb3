"""Calls asked at the same moment: each has its own answer, and those of the day are answered before anybody asks."""

from __future__ import annotations

import contextlib
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from pipeline.browser.library import Library
from pipeline.errors import DatabaseBusy, UsageError
from pipeline.visit import ask as visit_ask


def known(kept, call):
    with kept.opened() as workshop:
        return kept.known(workshop, call)


CALLS = [{"kind": "w/m", "complaint": said, "age": age} for said in ("leaks", "not draining") for age in ("3", "8")]


def test_who_ask_at_once_have_each_the_answer_of_their_own_call(library) -> None:
    kept, alone = Library(library), Library(library)
    kept.lingers = alone.lingers = 0.0
    with ThreadPoolExecutor(5) as people:
        fault = people.submit(known, kept, {"kind": " "})
        found = list(people.map(known, [kept] * len(CALLS), CALLS))
    for call, one in zip(CALLS, found, strict=True):
        assert one.question.age_years == float(call["age"])
        assert known(alone, call).answer.as_json() == one.answer.as_json()
    assert len({str(one.answer.as_json()["causes"]) for one in found}) == len(CALLS)
    with pytest.raises(UsageError, match="No kind"):
        fault.result()


def test_calls_of_the_day_are_answered_before_anybody_asks(library, monkeypatch) -> None:
    kept = Library(library)
    call = dict.fromkeys(("make", "model", "serial", "code"), "") | {"kind": "w/m", "age": "7", "complaint": "leaks"}
    for _ in range(300):  # pages of a test before may hold the file for another second
        with contextlib.suppress(DatabaseBusy), kept.opened():
            break
        time.sleep(0.1)
    answered, answer = [], visit_ask.answer
    monkeypatch.setattr(visit_ask, "answer", lambda *of: answered.append(answer(*of)) or answered[-1])
    kept.prepare([call])
    for _ in range(600):
        if answered:
            break
        time.sleep(0.1)
    assert known(kept, call).answer is answered[0] and len(answered) == 1
    kept.close()

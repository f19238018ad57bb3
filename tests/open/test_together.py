"""Questions asked at the same moment: looked up together, each with its own answer."""

from __future__ import annotations

import contextlib
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import pytest

from pipeline.errors import DatabaseBusy, UsageError
from pipeline.open.library import Library
from pipeline.open.together import Together


def test_who_asks_while_one_is_looked_up_is_looked_up_with_the_others() -> None:
    looked_up: list[list[int]] = []
    begun, go_on = threading.Event(), threading.Event()

    def look_up(asked):
        looked_up.append(list(asked))
        begun.set()
        assert go_on.wait(30)
        return [10 * one for one in asked]

    together = Together(look_up)
    with ThreadPoolExecutor(4) as people:
        answers = [people.submit(together, 1)]
        assert begun.wait(30)
        answers += [people.submit(together, one) for one in (2, 3, 4)]
        while together.waiting < 3:
            time.sleep(0.01)
        go_on.set()
        assert [answer.result(30) for answer in answers] == [10, 20, 30, 40]
    assert looked_up[0] == [1] and sorted(looked_up[1]) == [2, 3, 4]


def test_a_fault_reaches_whoever_asked_and_nobody_else(library) -> None:
    kept = Library(library)
    kept.lingers = 0.0
    told, refused = kept.look_up([{"kind": "w/m", "complaint": "leaks"}, {"kind": " ", "complaint": "leaks"}])
    assert told.question.kind == "washing machine" and isinstance(refused, UsageError)
    with pytest.raises(UsageError, match="No kind"):
        kept.known({"kind": " "})


def test_a_call_is_read_alike_whatever_is_asked_beside_it(library) -> None:
    kept = Library(library)
    kept.lingers = 0.0
    unclear = {"kind": "w/m", "complaint": "leaks", "age": "03/04/2021"}  # day or month first: nothing here says
    clear = {"kind": "w/m", "complaint": "leaks", "age": "25/04/2021", "make": "OSTREL"}
    (alone,) = kept.look_up([unclear])
    beside, _ = Library(library).look_up([{**unclear, "complaint": "leaks "}, clear])
    assert beside.question.age_years == alone.question.age_years
    assert beside.answer().as_json()["causes"] == alone.answer().as_json()["causes"]


def test_calls_of_the_day_are_answered_before_anybody_asks(library) -> None:
    kept = Library(library)
    call = dict.fromkeys(("make", "model", "serial", "code"), "") | {"kind": "w/m", "age": "7", "complaint": "leaks"}
    for _ in range(300):  # pages of a test before may hold the file for another second
        with contextlib.suppress(DatabaseBusy):
            kept.look_up([call])
            break
        time.sleep(0.1)
    kept.prepare([call])
    for _ in range(600):
        (known,) = kept.look_up([call])
        if known.stands:
            break
        time.sleep(0.1)
    assert list(known.stands) == [()]
    kept.close()

"""What is known of a call: looked up together with what others ask at the same moment, for many cost little more."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any

from pipeline.visit.answer import Answer
from pipeline.visit.question import Question
from pipeline.visit.walk import Event, Stand

_planning = threading.Lock()  # planning is work for one core: those who ask at once are planned for in turn


@dataclass
class Known:
    """A call as it was read, its plan, and where visits to it have led; whoever asks the same shares it."""

    question: Question
    plan: Callable[[], Answer]
    stands: dict[tuple[Event, ...], Stand] = field(default_factory=dict)

    def answer(self) -> Answer:
        """The answer before the visit; needs no database."""
        with _planning:
            if () not in self.stands:
                self.stands[()] = Stand(self.plan())
        return self.stands[()].now


class Together:
    """Let one of those who ask at once look up for all of them.

    Parameters
    ----------
    look_up
        Gives what it found for each of several questions, or the fault that one of them led to.
    """

    def __init__(self, look_up: Callable[[Sequence[Any]], Sequence[Any]]) -> None:
        self._look_up = look_up
        self._changed = threading.Condition()
        self._is_looking = False
        self._waiting: list[tuple[Any, Future[Any]]] = []

    @property
    def waiting(self) -> int:
        """How many wait for what is looked up now to be done."""
        return len(self._waiting)

    def __call__(self, asked: Any) -> Any:
        """Look one question up, with those that wait beside it."""
        mine: Future[Any] = Future()
        batch: list[tuple[Any, Future[Any]]] = []
        with self._changed:
            self._waiting.append((asked, mine))
            self._changed.wait_for(lambda: mine.done() or not self._is_looking)
            if not mine.done():
                batch, self._waiting, self._is_looking = self._waiting, [], True
        if batch:
            self._lead(batch)
        return mine.result()

    def _lead(self, batch: Sequence[tuple[Any, Future[Any]]]) -> None:
        try:
            found = self._look_up([asked for asked, _ in batch])
        except Exception as fault:
            found = [fault] * len(batch)
        with self._changed:
            for (_, future), told in zip(batch, found, strict=True):
                if isinstance(told, Exception):
                    future.set_exception(told)
                else:
                    future.set_result(told)
            self._is_looking = False
            self._changed.notify_all()

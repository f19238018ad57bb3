"""The one door from pages to the database: one at a time, and kept open only as long as nobody else wants it."""

from __future__ import annotations

import contextlib
import datetime as dt
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.browser.worker import apart
from pipeline.call.question import Call
from pipeline.errors import DatabaseBusy, PriorjobsError, shown
from pipeline.on_site.step_by_step import Stand
from pipeline.settings import Settings, read_settings
from pipeline.store.cache import while_unchanged
from pipeline.store.workshop_files import beside, lock_file
from pipeline.terminal.exit_message import as_told
from pipeline.visit.stock import FILE as STOCK
from pipeline.workshop import Workshop

if TYPE_CHECKING:
    from pipeline.call.question import Question
    from pipeline.load.guess import Proposal
    from pipeline.on_site.step_by_step import Event
    from pipeline.visit.answer import Answer
    from pipeline.words import Words

QUEUES = 20.0  # seconds that a page waits for the pages before it
WAITS = 5.0  # seconds that a page waits for a database that another program holds, before it says so
LINGERS = 1.0  # seconds that a database that was read stays open for the next reader
HELD = 10.0  # longest that it stays open, however many read: word lists may have been edited


@dataclass
class Job:
    """Long work: what it is, which page shows what came of it, what it said last, and how it ended.

    One that changes the database keeps it from the pages until it is done.
    """

    what: str
    then: str
    is_changing: bool
    said: str = ""
    result: Any = None
    fault: PriorjobsError | None = None
    is_running: bool = True


Work = Callable[[Workshop, Callable[[str], None]], Any]


@dataclass(frozen=True)
class Known:
    """A call as it was read, and where visits to it have led; whoever asks the same shares it."""

    question: Question
    stands: dict[tuple[Event, ...], Stand]

    @property
    def answer(self) -> Answer:
        """The answer before the visit."""
        return self.stands[()].now


class Library:
    """A kept library and who may open it now.

    Parameters
    ----------
    db
        The workshop's database file.

    Attributes
    ----------
    db
        The same.
    job
        Long work that runs, or that ended last; None = there was none.
    lingers
        Seconds that the database stays open once it was read.
    proposals
        Guessed mappings of the files that wait to be looked at.
    writing
        Held by whoever changes a file of the pages' own or begins long work: two browsers may press at once.
    """

    def __init__(self, db: Path) -> None:
        self.db = db
        self.job: Job | None = None
        self.lingers = LINGERS
        self.proposals: dict[str, Proposal] = {}
        self.writing = threading.Lock()
        self._preparing: threading.Thread | None = None
        self._turn = threading.Lock()
        self._words: tuple[object, Words] | None = None
        self._reader: Workshop | None = None
        self._opened_at = self._left_at = 0.0
        self._is_seen: object = None
        self._is_watched = False

    @property
    def settings(self) -> Settings:
        """The settings as they are on disk now."""
        return read_settings(beside(self.db)["toml"])

    def kept(self, ending: str) -> Path:
        """A file of the pages' own beside the database."""
        return self.db.with_name(f"{self.db.name.removesuffix('.duckdb')}.{ending}")

    @contextlib.contextmanager
    def opened(self, *, read_only: bool = True, wait: float | None = None) -> Iterator[Workshop]:
        """Open the workshop for one request.

        Raises
        ------
        DatabaseBusy
            Another request or another program kept it longer than ``wait`` seconds, or, for a page, longer than it
            waits; or long work changes it here.
        """
        is_working = self.job is not None and self.job.is_running and self.job.is_changing
        if not self._turn.acquire(timeout=wait or (0 if is_working else QUEUES)):
            raise self._busy()
        wait = wait or WAITS
        try:
            if read_only:
                with self._reading(wait) as workshop:
                    yield workshop
            else:
                self._let_go()
                with Workshop.open(self.db, wait=wait) as workshop:
                    self._lend_words(workshop)
                    yield workshop
        finally:
            self._turn.release()

    def known(self, workshop: Workshop, call: dict[str, str]) -> Known:
        """Read and answer a call; each in its turn, so that who asked first need not wait for all who ask beside him.

        Raises
        ------
        UsageError
            It gives no kind of appliance.
        """
        from pipeline.visit.ask import answer, questions_of

        held = workshop.database, workshop.words, workshop.settings

        def made() -> Known:
            (question,) = questions_of(*held, [Call(**call)])
            return Known(question, {(): Stand(answer(*held, question))})

        return while_unchanged(workshop.database, ("call", *sorted(call.items()), *self.made_of(workshop)), made)

    def dangers(self, calls: Sequence[dict[str, str]]) -> list[list[str]]:
        """Of each call what to ring its customer with before the round, in full; nothing of a call of no kind."""
        from pipeline.call.read_call import read_questions
        from pipeline.visit.dangers import ring_first
        from pipeline.words.appliance import about

        with self.opened() as workshop:
            words, database = workshop.words, workshop.database

            def made() -> list[list[str]]:
                known = [call for call in calls if call["kind"]]
                read = iter(read_questions(words, database, [Call(**call) for call in known]))
                asked = [next(read) if call["kind"] else None for call in calls]
                trades = [about(words, one.kind) if one else None for one in asked]
                return [
                    [trade.cautions[name] for name in ring_first(one, trade)] if one and trade else []
                    for one, trade in zip(asked, trades, strict=True)
                ]

            told = tuple(tuple(sorted(call.items())) for call in calls)
            return while_unchanged(database, ("dangers", told, *self.made_of(workshop)), made)

    def prepare(self, calls: Iterable[dict[str, str]]) -> None:
        """Answer calls that will be asked about, one after the other beside the pages, before anybody does.

        Not where the database must not stay open after a request; see ``lingers``.
        """

        def run() -> None:
            with contextlib.suppress(PriorjobsError):  # whoever asks is told
                for call in calls:
                    with self.opened() as workshop:
                        self.known(workshop, call)
                    time.sleep(0.05)  # whoever waits in turn goes first: a lock goes to who asks again at once

        if self.lingers and (self._preparing is None or not self._preparing.is_alive()):
            self._preparing = threading.Thread(target=run, name="prepare", daemon=True)
            self._preparing.start()

    def make_ready(self) -> None:
        """Read beside the pages what the first question of each kind needs: libraries, word lists, model, past jobs."""
        self.prepare(self._first_questions())

    def _first_questions(self) -> Iterator[dict[str, str]]:
        import pipeline.visit.ask  # noqa: F401 - slow to read, and nobody waits in turn for it

        query = "select kind from visit where kind is not null group by 1 order by count(*) desc"
        with self.opened() as workshop:
            kinds = workshop.database.connection.execute(query).fetchall()
        yield from ({"kind": kind, "complaint": "leaks"} for (kind,) in kinds)

    def start(self, what: str, then: str, work: Work | None = None, *given: str) -> Job:
        """Do long work beside the pages, which say so until it is done.

        Parameters
        ----------
        what, then
            See `Job`.
        work
            What changes the database; None = one of `apart.WORKS`, which only read.
        *given
            To such work.

        Raises
        ------
        DatabaseBusy
            Other long work runs.
        """
        with self.writing:
            if self.job is not None and self.job.is_running:
                raise self._busy()
            job = self.job = Job(what, then, work is not None)

        def tell(text: str) -> None:
            job.said = text

        def run() -> None:
            try:
                if work is None:
                    job.result = apart(what, self.db, tell, *given)
                else:
                    with self.opened(read_only=False, wait=60.0) as workshop:
                        job.result = work(workshop, tell)
            except Exception as fault:
                job.fault = fault if isinstance(fault, PriorjobsError) else as_told(fault)
            finally:
                job.is_running = False

        threading.Thread(target=run, name=what, daemon=True).start()
        return job

    def _busy(self) -> DatabaseBusy:
        return DatabaseBusy(
            f"Long work on {shown(self.db.name)} is still running here.", "Wait until it is done, then try again."
        )

    def made_of(self, workshop: Workshop) -> tuple[object, ...]:
        """What answers rest on besides the records: words, settings, models with what lies beside them, stock, day."""
        files = [*sorted(workshop.database.folder_of_models.glob("*")), workshop.database.path.parent / STOCK]
        states = [(file, file.stat().st_mtime_ns) for file in files if file.exists()]
        return workshop.words, repr(workshop.settings), *states, dt.date.today()

    @contextlib.contextmanager
    def _reading(self, wait: float) -> Iterator[Workshop]:
        if self._reader is None or not self._is_as_opened():
            self._let_go()
            self._is_seen = self._settings_seen()
            self._reader = Workshop.open(self.db, read_only=True, wait=wait)
            self._opened_at = time.monotonic()
            self._lend_words(self._reader)
        try:
            yield self._reader
        except BaseException as fault:
            reader, self._reader = self._reader, None
            reader.__exit__(type(fault), fault, fault.__traceback__)
            raise
        self._left_at = time.monotonic()
        if not self.lingers:
            self._let_go()
            return
        if not self._is_watched:
            self._look_again(self.lingers)

    def _is_as_opened(self) -> bool:
        is_wanted = lock_file(self.db).exists()
        is_old = time.monotonic() - self._opened_at > HELD
        return not is_wanted and not is_old and self._is_seen == self._settings_seen()

    def _settings_seen(self) -> object:
        file = beside(self.db)["toml"]
        return (file.stat().st_mtime_ns, file.stat().st_size) if file.exists() else None

    def _look_again(self, seconds: float) -> None:
        """Let the database go once nobody has read it for a while."""
        self._is_watched = True
        later = threading.Timer(seconds, self._let_go_if_idle)
        later.daemon = True
        later.start()

    def _let_go_if_idle(self) -> None:
        with self._turn:
            left = self._left_at + self.lingers - time.monotonic()
            if self._reader is not None and left > 0:
                self._look_again(left)
            else:
                self._is_watched = False
                self._let_go()

    def close(self) -> None:
        """Let the database go."""
        with self._turn:
            self._let_go()

    def _let_go(self) -> None:
        if self._reader is not None:
            self._reader.close()
            self._reader = None

    def _lend_words(self, workshop: Workshop) -> None:
        """Word lists are slow to make ready: they are kept while nothing they are made of changes."""
        from pipeline.words.list_version import edition

        decisions = workshop.database.connection.execute(
            "select count(*), count(undone_at), max(correction_id) from correction"
        ).fetchall()
        made_of = (decisions, workshop.settings.languages, edition(workshop.settings))
        if self._words is not None and self._words[0] == made_of:
            workshop.words = self._words[1]
        elif workshop.database.read_only:
            self._words = made_of, workshop.words

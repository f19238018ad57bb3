"""The Python face: everything a command does is one call here, frames and plain dictionaries back."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.errors import UsageError, shown
from pipeline.settings import Settings, is_stored, read_settings, store_settings, with_currency_held
from pipeline.store.database import READER_WAITS, Database
from pipeline.store.workshop_files import beside

if TYPE_CHECKING:
    import pandas as pd

    from pipeline.load.load_request import Decide
    from pipeline.load.report import LoadReport
    from pipeline.month.month import MonthReport
    from pipeline.visit.answer import Answer
    from pipeline.words import Words
    from reports.render.wording import Wording

Told = Callable[[str], None]


class Workshop:
    """One workshop: its database, its words, its settings and its models.

    Use it as a context manager, or call `close`.

    Examples
    --------
    ``workshop`` in the examples is open, has loaded the sixty calls of ``jobs.csv`` and learned from them.

    >>> with Workshop.open("another.duckdb") as another:
    ...     another.load(["jobs.csv"]).totals["loaded"]
    60
    """

    def __init__(self, database: Database, settings: Settings) -> None:
        self.database = database
        self.settings = settings

    @classmethod
    def open(
        cls, path: Path | str = "workshop.duckdb", *, read_only: bool = False, wait: float | None = None
    ) -> Workshop:
        """Open (or, unless ``read_only``, create) a workshop database and its settings.

        Settings that changed since the tables were built rebuild them. ``wait``: longest wait for others, seconds.

        Raises
        ------
        PriorjobsError
            See `Database.open` and `read_settings`.

        Examples
        --------
        >>> with Workshop.open("new.duckdb") as new:
        ...     new.status()["loaded"]["visits"]
        0
        """
        settings = read_settings(beside(Path(path))["toml"])
        database = Database.open(path, read_only=read_only, wait=wait)
        try:
            settings = with_currency_held(settings, database.connection)
            is_in_force = is_stored(database.connection, settings)
            if not is_in_force and not read_only:
                _rebuild(database, settings)
        except BaseException as fault:
            database.__exit__(type(fault), fault, fault.__traceback__)
            raise
        if is_in_force or not read_only:
            return cls(database, settings)
        database.close()
        with Database.open(path, wait=READER_WAITS) as writable:
            _rebuild(writable, settings)
        return cls.open(path, read_only=True, wait=wait)

    def close(self) -> None:
        """Close the database.

        Examples
        --------
        >>> another = Workshop.open("another.duckdb")
        >>> another.close()
        """
        self.database.close()

    def __enter__(self) -> Workshop:
        return self

    def __exit__(self, kind: object, fault: BaseException | None, trace: object) -> None:
        self.database.__exit__(kind, fault, trace)

    @cached_property
    def words(self) -> Words:
        """Word lists in force: shipped, the workshop's own, and the decisions taken in review."""
        from pipeline.words import Words

        decisions = self.database.connection.execute(
            "select list, written, term from correction where undone_at is null order by correction_id"
        ).df()
        return Words.load(self.settings.languages, self.settings.word_lists, decisions)

    @contextmanager
    def _new_words(self) -> Iterator[None]:
        """One change: a decision and every record read by it; when it fails, the words are those from before."""
        try:
            with self.database.transaction():
                yield
        except BaseException:
            self.__dict__.pop("words", None)
            raise

    def table(self, name: str) -> pd.DataFrame:
        """Return one table or mart as a frame; `priorjobs export` writes the same.

        Examples
        --------
        >>> workshop.table("visit")["outcome"].value_counts().to_dict()
        {'fixed': 60}
        """
        from pipeline.store.export import tables
        from pipeline.store.own_marts import own_tables

        known = [*tables(), *own_tables(self.database.connection)]
        if name not in known:
            raise UsageError(f"There is no table {shown(name)}.", f"Tables are {', '.join(known)}.")
        return self.database.connection.execute(f"from {name}").df()

    def load(
        self,
        paths: Sequence[Path | str],
        *,
        layout: Path | str | None = None,
        sheet: str | None = None,
        strict: bool = False,
        dry_run: bool = False,
        whole_history: bool = False,
        accept_guess: bool = False,
        decide: Decide | None = None,
        may_replace: Callable[[str], None] | None = None,
        tell: Told | None = None,
    ) -> LoadReport:
        """Load job records; each file is one transaction.

        With ``whole_history`` the files together hold all jobs of their period: what they no longer hold is taken out.
        A layout that is only guessed is held back, unless ``accept_guess`` takes it as it is or ``decide`` decides.

        See Also
        --------
        pipeline.load.load_request.Asked

        Examples
        --------
        >>> workshop.load(["jobs.csv"]).totals
        {'read': 60, 'loaded': 0, 'unchanged': 60, 'replaced': 0, 'rejected': 0}
        """
        from pipeline.load.choose_layout import accept
        from pipeline.load.layout_file import open_layout
        from pipeline.load.load import load_files
        from pipeline.load.load_request import Asked

        asked = Asked(
            self.database,
            lambda: self.words,
            self.settings,
            None if layout is None else open_layout(layout),
            sheet,
            strict,
            dry_run,
            whole_history,
            accept if accept_guess else decide,
            may_replace,
            tell or (lambda _: None),
        )
        report = load_files(asked, [Path(p) for p in paths])
        self.settings = with_currency_held(self.settings, self.database.connection)
        return report

    def tables(self) -> pd.DataFrame:
        """Describe every table and column: layer, table, grain, column, type, meaning; own marts last, unexplained.

        Examples
        --------
        >>> described = workshop.tables()
        >>> described.loc[described.table.eq("episode") & described.column.eq("cause"), "column"].tolist()
        ['cause']
        """
        import pandas as pd

        import sql
        from pipeline.store.own_marts import own_tables

        connection = self.database.connection
        own = [
            {"layer": "own", "table": table, "grain": "a query of yours", "column": row[0], "type": row[1]}
            for table in own_tables(connection)
            for row in connection.execute(f'describe "{table}"').fetchall()
        ]
        return pd.concat([sql.data_dictionary(connection), pd.DataFrame(own)], ignore_index=True)

    def batches(self) -> pd.DataFrame:
        """List the files that came in, with what came of their lines.

        Examples
        --------
        >>> workshop.batches()[["batch", "file", "visits"]].values.tolist()
        [[1, 'jobs.csv', 60]]
        """
        from pipeline.load.batches import list_batches

        return list_batches(self.database.connection)

    def take_back(self, batch: int) -> dict[str, Any]:
        """Take a file out of the books, with all that rests on it; until the next load it can be undone.

        Examples
        --------
        >>> taken = workshop.take_back(1)
        >>> taken["visits_before"], taken["visits"], workshop.undo_take_back()["visits"]
        (60, 0, 60)
        """
        from pipeline.load.batches import take_back

        return take_back(self.database, self.words, self.settings, batch)

    def undo_take_back(self) -> dict[str, Any]:
        """Bring the file back that was taken back last.

        Examples
        --------
        >>> from pipeline.errors import UsageError
        >>> try:
        ...     workshop.undo_take_back()
        ... except UsageError as fault:
        ...     print(fault.what)
        No batch has been taken back since the last load.
        """
        from pipeline.load.batches import undo_take_back

        return undo_take_back(self.database, self.words, self.settings)

    def train(self, *, force: bool = False, tell: Told | None = None) -> dict[str, Any]:
        """Learn causes from the cured jobs; the better model is put in use.

        Examples
        --------
        >>> learned = workshop.train()
        >>> learned["causes"], learned["scores"]["log_loss"] < learned["baselines"]["share by complaint"]["log_loss"]
        (2, True)
        """
        from pipeline.train.train import train
        from pipeline.visit.later_jobs import learn

        told = train(self.database, self.words, self.settings, force=force, tell=tell)
        learn(self.database, self.words, self.settings, told["model"])
        return told

    def backtest(self, out: Path | str | None = None, *, tell: Told | None = None) -> dict[str, Any]:
        """Score the last year: trained on the past, asked about what came next; ``out`` is the page to write.

        Examples
        --------
        >>> workshop.backtest()["scores"] is None  # sixty calls are too few to be asked month by month
        True
        """
        from pipeline.store.atomic_write import whole
        from pipeline.store.outputs import PAGE, may_write
        from pipeline.train.backtest import backtest
        from reports.pages.backtest import backtest_page

        if out is not None:
            may_write(Path(out), PAGE, database=self.database)
        told = backtest(self.database, self.words, self.settings, tell=tell)
        if out is None or not told["scores"]:
            return told | {"page": None}
        with whole(Path(out)) as draft:
            draft.write_text(backtest_page(told), encoding="utf-8")
        return told | {"page": str(out)}

    def models(self) -> pd.DataFrame:
        """Fitted models, newest last, and which one is in use.

        Examples
        --------
        >>> workshop.models()[["model", "is_in_use"]].values.tolist()
        [['0001', True]]
        """
        from pipeline.train.versions import list_models

        return list_models(self.database)

    def compare_models(self, first: str, second: str) -> pd.DataFrame:
        """Compare two models' scores side by side.

        Examples
        --------
        >>> second = workshop.train()["model"]
        >>> workshop.compare_models("0001", second).columns.tolist()
        ['measure', '0001', '0002']
        """
        from pipeline.train.compare import compare_models

        return compare_models(self.database, first, second)

    def use_model(self, name: str) -> dict[str, Any]:
        """Put one model in use.

        Examples
        --------
        >>> workshop.use_model("0001")["in_use"]
        '0001'
        """
        from pipeline.train.versions import use_model

        return use_model(self.database, name)

    def causes(self, **call: Any) -> Answer:
        """Likely causes, next steps, parts to carry and cautions for one appliance, in the words of a job sheet.

        Parameters
        ----------
        **call
            What is known: kind, and any of make, model, age, complaint, code, found, job_no; see
            `pipeline.call.question.Call`.

        Examples
        --------
        >>> answer = workshop.causes(kind="w/m", complaint="not draining", age="nearly 6 yrs", found=["filter=blocked"])
        >>> told = answer.as_json()
        >>> told["causes"][0]["cause"], told["steps"][0]["name"]
        ('blocked pump filter', 'clear pump filter')
        >>> print(answer.lines()[0])
        washing machine; 6 years; does not drain; pump filter blocked. 45 similar jobs.
        """
        from pipeline.call.question import Call
        from pipeline.visit.ask import causes

        return causes(self.database, self.words, self.settings, Call(**call))

    def converse(
        self,
        *,
        record: Path | None = None,
        begun: Path | None = None,
        ask: Callable[[str], str] | None = None,
        say: Told | None = None,
        **call: Any,
    ) -> dict[str, Any]:
        """Go through a visit step by step, at the terminal unless ``ask`` and ``say`` are given.

        Parameters
        ----------
        record
            CSV file that gets the job's line.
        begun
            File that keeps visits broken off, to go on with; None = they are lost.
        ask, say
            How to ask and to tell.
        **call
            As in `causes`.

        Examples
        --------
        >>> workshop.converse(kind="gas hob", ask=lambda prompt: "", say=lambda line: None)["outcome"]
        'advice only'
        """
        from pipeline.call.question import Call
        from pipeline.on_site.conversation import run

        return run(self.database, self.words, self.settings, Call(**call), record=record, begun=begun, ask=ask, say=say)

    def round(self, path: Path | str, out: Path | str, *, stock: Path | str | None = None) -> dict[str, Any]:
        r"""A day's calls: visit sheets on one page, and the van list.

        Examples
        --------
        >>> day = "appliance_kind,complaint\nwashing machine,not draining\n"
        >>> _ = Path("tomorrow.csv").write_text(day)
        >>> plan = workshop.round("tomorrow.csv", "round.html")
        >>> len(plan["calls"]), {"part", "expected_use", "carry"} <= set(plan["van"][0])
        (1, True)
        """
        from pipeline.on_site.round import plan_round

        return plan_round(
            self.database, self.words, self.settings, Path(path), Path(out), stock=Path(stock) if stock else None
        )

    def report(self, month: str | None = None, *, out: Path | str | None = None, **view: Any) -> MonthReport:
        """The month's report as one HTML file; the last month with visits when none is named.

        Examples
        --------
        >>> report = workshop.report("2025-02", out="report.html")
        >>> report.as_json()["first_time_fix"]["fixed"], report.path.name
        (14, 'report.html')
        """
        from pipeline.month.month import month_report

        return month_report(
            self.database, self.settings, month, out=Path(out) if out else None, words=self.words, **view
        )

    def all_reports(self, out: Path | str, **view: Any) -> dict[str, Any]:
        """The reports of all months, and an index page, in one folder.

        Examples
        --------
        >>> [month["month"] for month in workshop.all_reports("pages")["months"]][:2]
        ['2025-01', '2025-02']
        """
        from pipeline.month.month import all_reports

        return all_reports(self.database, self.settings, Path(out), words=self.words, **view)

    def to_review(self) -> pd.DataFrame:
        """Unrecognised words, the most frequent first, with suggestions.

        Examples
        --------
        >>> workshop.to_review()[["list", "written"]].values.tolist()
        [['part', 'grommet plate']]
        """
        from pipeline.upkeep.review import to_review

        return to_review(self.database, self.words)

    def write_review(self, path: Path | str, *, phrases: bool = False) -> int:
        """Write the words to review to a CSV file, or the phrases that tell of a cause; returns how many.

        Examples
        --------
        >>> workshop.write_review("words.csv")
        1
        """
        from pipeline.upkeep.review import write_review

        return write_review(self.database, self.words, Path(path), phrases=phrases)

    def take_decisions(self, path: Path | str) -> dict[str, Any]:
        r"""Take decisions back in and apply them to every record, old and new.

        Examples
        --------
        >>> decided = "list,written,decision\npart,grommet plate,drain pump\n"
        >>> _ = Path("words.csv").write_text(decided)
        >>> workshop.take_decisions("words.csv")["taken"]
        1
        """
        from pipeline.load.stage import restage
        from pipeline.upkeep.review import take_decisions

        with self._new_words():
            taken = take_decisions(self.database, self.words, Path(path))
            del self.words
            restage(self.database, self.words, self.settings)
        return taken

    def undo_decision(self, correction_id: int) -> dict[str, Any]:
        r"""Take one decision back; every record is read again.

        Examples
        --------
        >>> decided = "list,written,decision\npart,grommet plate,drain pump\n"
        >>> _ = Path("words.csv").write_text(decided)
        >>> taken = workshop.take_decisions("words.csv")["decisions"][0]
        >>> undone = workshop.undo_decision(taken["correction_id"])
        >>> len(workshop.to_review())
        1
        """
        from pipeline.load.stage import restage
        from pipeline.upkeep.review import undo

        with self._new_words():
            undone = undo(self.database, correction_id)
            self.__dict__.pop("words", None)
            restage(self.database, self.words, self.settings)
        return undone

    @property
    def wording(self) -> Wording:
        """How things are said to the people of this workshop."""
        from reports.render.wording import in_language

        return in_language(self.settings.locale, self.settings.currency)

    def advice(self) -> dict[str, Any]:
        """Parts that are often not the cause, and what came of the advice that was taken up.

        Examples
        --------
        >>> sorted(workshop.advice())
        ['adopted', 'cautions', 'currency', 'rows']
        """
        from pipeline.advice.adopted import list_advice

        return list_advice(self.database, self.words, self.settings.currency)

    def adopt(self, number: int, on: str | None = None) -> dict[str, Any]:
        """Write down that advice ``number`` is followed from a day on (YYYY-MM-DD; today when left out).

        Examples
        --------
        >>> from pipeline.errors import UsageError
        >>> try:  # sixty calls show no pattern
        ...     workshop.adopt(1, "2025-03-01")
        ... except UsageError as fault:
        ...     print(fault.what)
        There is no advice number 1.
        """
        from pipeline.advice.adopted import adopt, day

        return adopt(self.database, self.words, number, day(on))

    def undo_advice(self, advice_id: int) -> dict[str, Any]:
        """Take back advice that was taken up.

        Examples
        --------
        >>> from pipeline.errors import UsageError
        >>> try:
        ...     workshop.undo_advice(1)
        ... except UsageError as fault:
        ...     print(fault.what)
        No advice taken up has the number 1.
        """
        from pipeline.advice.adopted import undo

        return undo(self.database, advice_id)

    def export(self, table: str, path: Path | str) -> int:
        """Write one table or mart as CSV, Parquet or XLSX, by the file's ending; returns the number of rows.

        Examples
        --------
        >>> workshop.export("month_summary", "months.csv")
        5
        """
        from pipeline.store.export import export_table

        return export_table(self.database, table, Path(path))

    def forget(self, customer_ref: str, *, called: Sequence[str] = (), several: bool = False) -> dict[str, Any]:
        """Erase a customer's identity everywhere; what the customer is ``called`` too, in their own visits.

        A name that several customers bear is refused unless ``several`` are meant.

        Examples
        --------
        >>> workshop.forget("C-7")["visits"]
        1
        """
        from pipeline.upkeep.forget import forget

        return forget(self.database, customer_ref, called, several=several)

    def status(self, *, check: bool = False) -> dict[str, Any]:
        """What is loaded, trained, stale; data quality at a glance; with ``check`` also what must hold, and drift.

        Examples
        --------
        >>> told = workshop.status(check=True)
        >>> told["loaded"]["visits"], told["broken"]
        (60, [])
        """
        from pipeline.upkeep.status import status

        return status(self.database, self.settings, check=check)


def _rebuild(database: Database, settings: Settings) -> None:
    import sql

    with database.transaction():
        store_settings(database.connection, settings)
        if database.connection.execute("select 1 from stage_visit limit 1").fetchall():
            sql.rebuild(database.connection)

"""Hostile files end in balanced counts or in one clear sentence; nothing is half done, run or touched outside.

A few of each kind here; ``tests/benchmarks/robustness/hostile.py`` runs thousands of the same makers.
"""

from __future__ import annotations

import contextlib
import gzip
import io
import os
import random
import resource
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import sql
from models.causes import storage
from models.causes.classifier import CauseClassifier
from pipeline.errors import FileUnreadable, LayoutError, PriorjobsError, UsageError
from pipeline.words import Words
from pipeline.workshop import Workshop
from tests.command_in_fork import in_fork
from tests.worlds import hostile_files, hostile_workshops
from tests.worlds.empty import empty_workshop
from tests.worlds.hostile_files import GOOD, HEADER, HOSTILE, LOADABLE
from tests.worlds.shared import times

COUNTS = (
    "select (select count(*) from load_batch), (select count(*) from raw_record), "
    "(select count(*) from rejected_record)"
)


def files_below(folder: Path) -> dict[str, int]:
    return {str(path.relative_to(folder)): path.stat().st_size for path in sorted(folder.rglob("*")) if path.is_file()}


def written(path: Path, lines: list[list[str]]) -> Path:
    text = "\n".join(",".join('"' + cell.replace('"', '""') + '"' for cell in line) for line in lines)
    path.write_bytes(text.encode("utf-8", "replace"))
    return path


@pytest.mark.parametrize("kind", LOADABLE)
def test_hostile_files_load_with_balanced_counts_or_are_refused_whole(kind: str, tmp_path: Path) -> None:
    (tmp_path / "shop").mkdir()
    with Workshop.open(empty_workshop(tmp_path / "shop" / "w.duckdb")) as workshop:
        connection = workshop.database.connection
        for seed in range(times(1)):
            folder = tmp_path / f"{seed}"
            folder.mkdir()
            path = LOADABLE[kind](random.Random(seed), folder)
            given = files_below(folder)
            before = connection.execute(COUNTS).fetchall()
            try:
                own = path if kind == "layout" else None
                report = workshop.load([folder / "jobs.csv" if own else path], layout=own)
            except PriorjobsError as fault:
                assert fault.what
                assert fault.remedy
                if kind != "archive":  # the members before the bad one are files of their own
                    assert connection.execute(COUNTS).fetchall() == before
            else:
                assert all(file.read == file.loaded + file.unchanged + file.rejected for file in report.files)
            assert files_below(folder) == given
        assert not {name: rows for name, rows in sql.offenders(connection).items() if len(rows)}
        assert b"root:x:0:" not in (tmp_path / "shop" / "w.duckdb").read_bytes()


def test_hostile_text_in_every_column_is_kept_and_never_run(tmp_path: Path) -> None:
    lines = [list(HEADER)]
    for number, text in enumerate(HOSTILE):
        for column in range(1, len(HEADER)):
            line = list(GOOD)
            line[2] = f"N{number}-{column}"
            line[column] = text
            lines.append(line)
    given = written(tmp_path / "jobs.csv", lines)
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        totals = workshop.load([given]).as_json()["totals"]
        tables = workshop.database.connection.execute("select count(*) from visit").fetchall()
    assert totals["read"] == totals["loaded"] + totals["unchanged"] + totals["rejected"]
    assert totals["read"] >= 0.9 * (len(lines) - 1)  # a bare quotation mark may swallow a line end
    assert tables[0][0] > 0.8 * totals["read"]
    assert sorted(path.name for path in tmp_path.iterdir() if path.suffix != ".key") == ["jobs.csv", "w.duckdb"]


def swollen_zip() -> bytes:
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("jobs.csv", b"visit_date,appliance_kind\n" * (4 << 20))
    return sink.getvalue()


def zip_of(name: str, body: bytes) -> bytes:
    sink = io.BytesIO()
    with zipfile.ZipFile(sink, "w") as archive:
        archive.writestr(name, body)
    return sink.getvalue()


def repeating_parquet(rows: int, text: str) -> bytes:
    import pyarrow as pa
    import pyarrow.parquet as pq

    packed = pa.DictionaryArray.from_arrays(pa.array(np.zeros(rows, dtype=np.int32)), [text])
    sink = io.BytesIO()
    pq.write_table(pa.table({"visit_date": packed}), sink)
    return sink.getvalue()


BOMBS: dict[str, tuple[str, Callable[[], bytes]]] = {
    "cells at the far end of a sheet": ("x.xlsx", hostile_files.far_cells),
    "a sheet that packs a thousandfold": ("x.xlsx", lambda: hostile_files.swollen_sheet(100)),
    "an ODS row repeated a billion times": ("x.ods", hostile_files.repeated_ods),
    "an archive that packs a thousandfold": ("x.zip", swollen_zip),
    "a gzip that packs a thousandfold": ("x.csv.gz", lambda: gzip.compress(b"visit_date\n" + b"0" * (100 << 20))),
    "archives in archives in archives": ("x.zip", lambda: zip_of("a.zip", zip_of("b.zip", zip_of("c.zip", b"")))),
    "a line without end": ("x.csv", lambda: b"visit_date,appliance_kind\n" + b"a" * (40 << 20)),
    "a hundred thousand columns": ("x.csv", lambda: b",".join(b"c%d" % n for n in range(100_000)) + b"\n1\n"),
    "a hundred thousand JSON names": (
        "x.jsonl",
        lambda: b"{" + b",".join(b'"c%d":1' % n for n in range(100_000)) + b"}",
    ),
    "JSON nested without end": ("x.jsonl", lambda: b'["' + b"[" * 200_000),
    "Parquet rows that all repeat one": ("x.parquet", lambda: repeating_parquet(20_000_000, "2024-01-01")),
    "Parquet cells of many megabytes": ("x.parquet", lambda: repeating_parquet(100_000, "a" * 20_000_000)),
}


@pytest.mark.parametrize("bomb", BOMBS)
def test_bombs_are_refused_in_bounded_memory(bomb: str, tmp_path: Path) -> None:
    name, make = BOMBS[bomb]
    path = tmp_path / name
    path.write_bytes(make())
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        with pytest.raises((FileUnreadable, LayoutError)):
            workshop.load([path])
        grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert grown < 1_500_000  # kilobytes


def test_an_archive_writes_nothing_where_its_names_point(tmp_path: Path) -> None:
    good = ",".join(HEADER) + "\n" + ",".join(f'"{cell}"' for cell in GOOD) + "\n"
    inner = tmp_path / "a" / "b"
    inner.mkdir(parents=True)
    empty_workshop(inner / "w.duckdb")
    for number, name in enumerate(("../../evil.csv", f"{tmp_path}/outside-evil.csv", "..\\evil.csv")):
        path = inner / f"{number}.zip"
        path.write_bytes(zip_of(name, good.encode()))
        with Workshop.open(inner / "w.duckdb") as workshop, contextlib.suppress(FileUnreadable):
            assert workshop.load([path]).as_json()["totals"]["read"] == 1
    assert not list(tmp_path.rglob("*evil*"))


@pytest.mark.parametrize("seed", range(12))
def test_word_lists_with_odd_values_are_read_or_told(seed: int, tmp_path: Path) -> None:
    path = hostile_workshops.make_words(random.Random(seed), tmp_path)
    texts, kinds = pd.Series(["humming and coin found"]), pd.Series(["washing machine"])
    try:
        words = Words.load(("en",), [path])
    except LayoutError as fault:
        assert path.name in fault.what
    else:
        assert len(words.match("kind", kinds)) == 1
        words.find_symptoms(texts, kinds)
        words.codes(pd.Series(["K07", "red blinks"]), pd.Series(["Ostrel", "Brell"]))


@pytest.fixture(scope="module")
def model_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    rng = np.random.default_rng(0)
    seen = pd.DataFrame({"kind": rng.choice(["oven", "hob"], 80), "finding: water left": rng.choice(["yes", "no"], 80)})
    cause = np.where(seen["finding: water left"] == "yes", "pump", rng.choice(["sensor", "tube"], 80))
    folder = tmp_path_factory.mktemp("model") / "good"
    storage.save(CauseClassifier().fit(seen, cause).model_, folder, {"name": "made"})
    return folder


@pytest.mark.parametrize("seed", range(25))
def test_a_damaged_model_folder_is_refused_or_answers_and_runs_no_code(
    seed: int, model_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    folder = tmp_path / "model"
    folder.mkdir()
    for file in model_folder.iterdir():
        (folder / file.name).write_bytes(file.read_bytes())
    hostile_workshops.damage_model(random.Random(seed), folder)
    try:
        told = storage.open_model(folder).predict_proba(pd.DataFrame({"kind": ["oven", None]}))
    except storage.ModelUnreadable:
        pass
    else:
        assert np.isfinite(told).all()
    assert not (tmp_path / "code-ran").exists()


def test_the_command_line_shows_no_traceback_and_no_escape_of_a_hostile_name(tmp_path: Path) -> None:
    name = "\x1b[31m<b>..;drop.csv"
    (tmp_path / name).write_bytes(b"\x00\x01\x02\x03" * 100)
    run = in_fork(tmp_path, f"load {name}", lambda: os.environ.update(COLUMNS="200"))
    assert run.status == 2
    assert "drop.csv" in run.err
    assert "Traceback" not in run.out + run.err
    assert "\x1b" not in run.out + run.err
    assert "bug in priorjobs" not in run.err


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes here")
def test_a_pipe_is_told_as_one_and_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "jobs.csv")
    with (
        Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop,
        pytest.raises(UsageError, match="is a pipe"),
    ):
        workshop.load([tmp_path / "jobs.csv"])


def test_a_file_whose_name_is_in_another_encoding_is_loaded(tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode("auftr\u00e4ge.csv".encode("latin-1"))
    try:
        written(path, [list(HEADER), list(GOOD)])
    except OSError:
        pytest.skip("file names are UTF-8 here")
    with Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop:
        (report,) = workshop.load([path]).files
        assert (report.loaded, report.file) == (1, "auftr\ufffdge.csv")
        assert workshop.table("load_batch")["file_name"].tolist() == ["auftr\ufffdge.csv"]


@pytest.mark.parametrize("words", ["causes --kind oven --complaint {}", "words new {}"])
def test_what_a_terminal_of_another_encoding_gives_is_no_bug_of_ours(words: str, tmp_path: Path) -> None:
    empty_workshop(tmp_path / "workshop.duckdb")
    run = in_fork(tmp_path, words.format(os.fsdecode("l\u00e4uft".encode("latin-1"))))
    assert run.status == 2
    assert "UTF-8" in run.err and "bug in priorjobs" not in run.err


@pytest.mark.parametrize("encoding", ["idna", "undefined", "utf-16", "base64", "nonsense"])
def test_an_encoding_that_cannot_read_the_file_is_refused(encoding: str, tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(",".join(HEADER) + "\n" + ",".join(GOOD) + "\n", encoding="utf-8")
    columns = "\n".join(f'{name} = "{name}"' for name in HEADER)
    layout = f'name = "odd"\nencoding = "{encoding}"\n[columns]\n{columns}\n'
    (tmp_path / "odd.toml").write_text(layout, encoding="utf-8")
    with (
        Workshop.open(empty_workshop(tmp_path / "w.duckdb")) as workshop,
        pytest.raises(LayoutError, match="not an encoding"),
    ):
        workshop.load([tmp_path / "jobs.csv"], layout=tmp_path / "odd.toml")


def test_a_database_of_another_maker_or_a_bent_one_is_refused_or_whole(tmp_path: Path) -> None:
    good = empty_workshop(tmp_path / "good.duckdb")
    jobs = tmp_path / "jobs.csv"
    jobs.write_text("visit_date,appliance_kind,job_no,complaint\n2025-01-02,W/M,J1,LEAKS\n")
    refused = 0
    for seed in range(times(8)):
        folder = tmp_path / f"{seed}"
        folder.mkdir()
        path = hostile_workshops.make_database(random.Random(seed), folder, good)
        try:
            with Workshop.open(path) as workshop:
                workshop.load([jobs])
                assert workshop.table("visit_symptom")["symptom"].tolist() == ["leaks"]
                assert not any(sql.offenders(workshop.database.connection).values())
        except PriorjobsError:
            refused += 1
    assert refused > 0

"""Reading files: every format, encoding and quote gives the same cells, and any bytes at all lose no line."""

from __future__ import annotations

import csv
import datetime as dt
import gzip
import io
import json
import zipfile
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest
import xlsxwriter
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from pipeline.errors import FileUnreadable, LayoutError, PriorjobsError, UsageError
from pipeline.read import delimited, sources
from pipeline.read.incoming import Reading, find_header, plain_name, unique_names
from pipeline.read.json_parquet import as_text
from pipeline.read.reader import read
from pipeline.read.sources import Source, Unopened, open_sources
from tests.worlds.shared import times

KNOWN = Reading(known_names=frozenset({"visit date", "appliance kind", "job no", "complaint"}))
HEADER = ["visit_date", "appliance_kind", "job_no", "complaint"]
ROWS = [
    ["2025-04-03", "W/M", "J1", 'says "6" hose" drips, then stops'],
    ["2025-04-04", "dryer", "J2", "first line\nsecond; line"],
    ["2025-04-05", "Spülmaschine", "J3", "läuft nicht – 40°"],
    ["2025-04-06", "oven", "J4", ""],
]


def tables_of(paths: list, scratch: Path) -> Iterator[Source]:
    """Yield every table; one that cannot be opened raises."""
    for source in open_sources(paths, scratch):
        if isinstance(source, Unopened):
            raise source.fault
        yield source


def opened(path: Path, tmp_path: Path, reading: Reading = KNOWN, form: str | None = None):
    """Return (records, lines as (line_no, cells)) of the one table in a file."""
    scratch = tmp_path / "scratch"
    scratch.mkdir(exist_ok=True)
    found = []
    with duckdb.connect() as connection:
        for source in tables_of([path], scratch):
            assert form is None or source.form == form
            records = read(connection, source, reading, scratch)
            rows = connection.execute("select * from incoming order by line_no").fetchall()
            found.append((records, [(row[0], list(row[1:])) for row in rows]))
    return found[0]


def written(rows: list[list[str]], encoding: str = "utf-8", **dialect: object) -> bytes:
    out = io.StringIO()
    csv.writer(out, **{"lineterminator": "\n", **dialect}).writerows(rows)
    return out.getvalue().encode(encoding)


def without_blanks(cells: list[str | None]) -> list[str | None]:
    return [cell or None for cell in cells]


EXPECTED = [without_blanks(row) for row in ROWS]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252"])
@pytest.mark.parametrize(
    ("delimiter", "quote", "end"),
    [(",", '"', "\n"), (";", '"', "\r\n"), ("\t", '"', "\n"), ("|", '"', "\r"), ("^", '"', "\n"), (";", "'", "\n")],
)
def test_every_encoding_and_dialect_gives_the_same_cells(
    tmp_path: Path, encoding: str, delimiter: str, quote: str, end: str
) -> None:
    quoting = csv.QUOTE_ALL if quote == "'" else csv.QUOTE_MINIMAL
    content = written(
        [HEADER, *ROWS], encoding, delimiter=delimiter, quotechar=quote, lineterminator=end, quoting=quoting
    )
    path = tmp_path / "jobs.txt"
    path.write_bytes(content)
    records, lines = opened(path, tmp_path, form="text")
    assert records.header == tuple(HEADER)
    assert [without_blanks(cells) for _, cells in lines] == EXPECTED
    assert records.refused == []


def test_line_numbers_count_the_lines_inside_cells(tmp_path: Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_bytes(written([HEADER, *ROWS]))
    _, lines = opened(path, tmp_path)
    assert [line_no for line_no, _ in lines] == [2, 3, 5, 6]


def test_regular_files_are_read_the_same_in_bulk_and_line_by_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = [HEADER] + [
        [f"2025-01-{i % 28 + 1:02d}", "W/M", f"J{i}", f"text, {i}\nmore" if i % 97 == 0 else f"text {i}"]
        for i in range(60_000)
    ]
    rows[1000] = rows[-1] = ["", " ", "", ""]
    path = tmp_path / "jobs.csv"
    path.write_bytes(written(rows))
    used = []
    bulk = delimited.read_regular
    monkeypatch.setattr(delimited, "read_regular", lambda *a: used.append(bulk(*a)) or used[-1])
    _, fast = opened(path, tmp_path)
    assert used == [True]
    monkeypatch.setattr(delimited, "read_regular", lambda *a: False)
    _, slow = opened(path, tmp_path)
    assert fast == slow


def test_a_quote_that_is_never_closed_costs_one_line(tmp_path: Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text(
        "visit_date,appliance_kind,job_no,complaint\n2025-01-01,W/M,J1,ok\n"
        '2025-01-02,W/M,J2,"never closed\n2025-01-03,W/M,J3,fine\n2025-01-04,W/M,J4,fine\n'
    )
    records, lines = opened(path, tmp_path)
    assert [cells[2] for _, cells in lines] == ["J1", "J3", "J4"]
    assert [(r.line_no, r.line_text) for r in records.refused] == [(3, '2025-01-02,W/M,J2,"never closed')]


def test_bare_quotes_inside_a_quoted_cell_are_read_where_only_one_reading_is_possible(tmp_path: Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text('visit_date,appliance_kind,job_no,complaint\n2025-01-02,W/M,J2,"the 6" hose" leaks"\n')
    records, lines = opened(path, tmp_path)
    assert lines == [(2, ["2025-01-02", "W/M", "J2", 'the 6" hose" leaks'])]
    assert not records.refused


def test_ragged_lines_are_padded_or_refused_with_the_extra_value(tmp_path: Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text(
        "visit_date,appliance_kind,job_no,complaint\n2025-01-01,W/M,J1\n2025-01-02,W/M,J2,leaks,badly\n"
        "2025-01-03,W/M,J3,leaks,,\n\n,,,\n"
    )
    records, lines = opened(path, tmp_path)
    assert [(line_no, without_blanks(cells)) for line_no, cells in lines] == [
        (2, ["2025-01-01", "W/M", "J1", None]),
        (4, ["2025-01-03", "W/M", "J3", "leaks"]),
    ]
    (refused,) = records.refused
    assert (refused.line_no, refused.value) == (3, "badly")
    assert "5 cells where the header has 4" in refused.rule


def test_bytes_that_are_no_text_cost_their_own_line_only(tmp_path: Path) -> None:
    path = tmp_path / "jobs.csv"
    good = "2025-01-0{},W/M,J{},läuft nicht\n"
    content = "visit_date,appliance_kind,job_no,complaint\n" + good.format(1, 1) + good.format(2, 2)
    path.write_bytes(content.encode() + b"2025-01-03,W/M,J3,l\xe4uft\n" + good.format(4, 4).encode())
    records, lines = opened(path, tmp_path)
    assert [cells[2] for _, cells in lines] == ["J1", "J2", "J4"]
    assert [r.line_no for r in records.refused] == [4]
    assert "encoding" in records.refused[0].remedy


def test_titles_above_the_header_are_passed_over(tmp_path: Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text(
        "Tidewell Appliance Care,,,\nJobs 2025,,,\n\nVisit date;Appliance kind;Job no;Complaint\n"
        "2025-01-01;W/M;J1;leaks\n"
    )
    records, lines = opened(path, tmp_path)
    assert records.header == ("Visit date", "Appliance kind", "Job no", "Complaint")
    assert lines == [(5, ["2025-01-01", "W/M", "J1", "leaks"])]


def test_a_column_without_a_name_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_text("visit_date,appliance_kind,job_no,\n2025-01-01,W/M,J1,extra\n2025-01-02,W/M,J2,more\n")
    records, lines = opened(path, tmp_path)
    assert records.header == ("visit_date", "appliance_kind", "job_no", "column 4")
    assert lines[0][1][3] == "extra"


def test_a_file_that_is_no_text_is_refused_by_name(tmp_path: Path) -> None:
    path = tmp_path / "photo.csv"
    path.write_bytes(bytes(range(256)) * 20)
    with pytest.raises(FileUnreadable, match=r"photo\.csv"):
        opened(path, tmp_path)


def test_an_encoding_nobody_knows_is_told(tmp_path: Path) -> None:
    path = tmp_path / "jobs.csv"
    path.write_bytes(written([HEADER, *ROWS]))
    with pytest.raises(LayoutError, match="klingon"):
        opened(path, tmp_path, Reading(encoding="klingon"))


@pytest.mark.parametrize("said", ["windows-1252", "latin-1", "ascii"])
def test_letters_of_another_encoding_than_the_layout_says_are_refused_with_the_remedy(
    tmp_path: Path, said: str
) -> None:
    path = tmp_path / "jobs.csv"
    path.write_bytes(written([HEADER, *ROWS, ["2025-01-01", "W/M", "J9", "café – 3 £"]]))
    with pytest.raises(LayoutError, match="UTF-8") as refused:
        opened(path, tmp_path, Reading(encoding=said))
    assert 'encoding = "utf-8"' in refused.value.remedy
    path.write_bytes(written([HEADER, ["2025-01-01", "W/M", "J9", "café – 3 £"]], "cp1252"))
    if said == "windows-1252":
        assert "café – 3 £" in str(opened(path, tmp_path, Reading(encoding=said)))


def test_a_workshops_key_is_never_read_nor_shown(tmp_path: Path) -> None:
    for name in ("workshop.key", "jobs.csv"):
        (tmp_path / name).write_text("0123456789abcdef" * 4 + "\n")
        (found,) = open_sources([tmp_path / name], tmp_path)
        assert isinstance(found, Unopened) and "key" in found.fault.what
        assert "0123" not in found.fault.what + found.fault.remedy


# Spreadsheets


def workbook(path: Path) -> None:
    book = xlsxwriter.Workbook(path)
    notes = book.add_worksheet("Notes")
    notes.write(0, 0, "Read me")
    sheet = book.add_worksheet("Jobs")
    sheet.merge_range(0, 0, 0, 3, "Jobs of the year")
    sheet.write_row(2, 0, HEADER)
    day = book.add_format({"num_format": "dd/mm/yyyy"})
    sheet.write_datetime(3, 0, dt.datetime(2025, 4, 3), day)
    sheet.write_row(3, 1, ["W/M", 1042, "leaks"])
    sheet.write_datetime(5, 0, dt.datetime(2025, 4, 5), day)
    sheet.write_row(5, 1, ["dryer", "J3", 1.5])
    book.close()


def test_a_spreadsheet_gives_the_sheet_with_the_header_below_its_title(tmp_path: Path) -> None:
    workbook(tmp_path / "jobs.xlsx")
    records, lines = opened(tmp_path / "jobs.xlsx", tmp_path, form="sheet")
    assert records.header == tuple(HEADER)
    assert lines == [(4, ["2025-04-03", "W/M", "1042", "leaks"]), (6, ["2025-04-05", "dryer", "J3", "1.5"])]
    assert records.how["sheet"] == "Jobs"


def test_a_sheet_that_is_not_there_is_told_with_those_that_are(tmp_path: Path) -> None:
    workbook(tmp_path / "jobs.xlsx")
    with pytest.raises(UsageError, match="Jobs") as told:
        opened(tmp_path / "jobs.xlsx", tmp_path, Reading(sheet="2024"))
    assert "2024" in told.value.what


@settings(max_examples=times(10), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cut=st.integers(1, 6000), flip=st.integers(0, 6000), value=st.integers(0, 255))
def test_a_damaged_spreadsheet_is_read_or_refused(tmp_path: Path, cut: int, flip: int, value: int) -> None:
    whole = tmp_path / "whole.xlsx"
    if not whole.exists():
        workbook(whole)
    content = bytearray(whole.read_bytes())
    content[flip % len(content)] = value
    damaged = tmp_path / "damaged.xlsx"
    damaged.write_bytes(bytes(content) if cut % 2 else bytes(content[: cut % len(content)]))
    try:
        opened(damaged, tmp_path)
    except PriorjobsError as told:
        assert told.remedy


ODS = {
    "mimetype": "application/vnd.oasis.opendocument.spreadsheet",
    "META-INF/manifest.xml": '<?xml version="1.0"?><manifest:manifest '
    'xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0"/>',
    "content.xml": '<?xml version="1.0"?><office:document-content '
    'xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
    'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
    'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0"><office:body><office:spreadsheet>'
    '<table:table table:name="Jobs">{}</table:table></office:spreadsheet></office:body></office:document-content>',
}


def ods_row(*cells: tuple[str, str, str]) -> str:
    written = "".join(
        f'<table:table-cell office:value-type="{kind}" office:{name}="{value}"><text:p>{value}</text:p>'
        "</table:table-cell>"
        for kind, name, value in cells
    )
    return f"<table:table-row>{written}</table:table-row>"


def test_an_open_document_sheet_is_read(tmp_path: Path) -> None:
    header = ods_row(*(("string", "string-value", name) for name in HEADER))
    line = ods_row(
        ("date", "date-value", "2025-04-03"), ("string", "string-value", "W/M"), ("float", "value", "1042"),
        ("string", "string-value", "leaks"),
    )  # fmt: skip
    with zipfile.ZipFile(tmp_path / "jobs.ods", "w") as book:
        for name, text in ODS.items():
            book.writestr(name, text.replace("{}", header + line))
    records, lines = opened(tmp_path / "jobs.ods", tmp_path, form="sheet")
    assert records.header == tuple(HEADER)
    assert lines == [(2, ["2025-04-03", "W/M", "1042", "leaks"])]


# JSON Lines and Parquet


def test_json_lines_keep_numbers_as_written_and_refuse_what_is_no_object(tmp_path: Path) -> None:
    path = tmp_path / "jobs.jsonl"
    path.write_text(
        '{"visit_date": "2025-04-03", "job_no": 1.50, "parts": ["drain pump", "seal"]}\n'
        '\n[1, 2]\n{"visit_date": "2025-04-04", "extra": {"a": 1}, "job_no": null}\nnot json\n'
    )
    records, lines = opened(path, tmp_path, form="json")
    assert records.header == ("visit_date", "job_no", "parts", "extra.a")
    assert lines == [
        (1, ["2025-04-03", "1.50", "drain pump; seal", None]),
        (4, ["2025-04-04", None, None, "1"]),
    ]
    assert [r.line_no for r in records.refused] == [3, 5]


def test_a_json_list_is_read_too(tmp_path: Path) -> None:
    path = tmp_path / "jobs.json"
    path.write_text(json.dumps([dict(zip(HEADER, row, strict=True)) for row in ROWS]))
    records, lines = opened(path, tmp_path, form="json")
    assert records.header == tuple(HEADER)
    assert [without_blanks(cells) for _, cells in lines] == EXPECTED


def test_parquet_days_and_numbers_become_text(tmp_path: Path) -> None:
    import pyarrow as pa
    import pyarrow.parquet as pq

    path = tmp_path / "jobs.parquet"
    days = [dt.date(2025, 4, 3), None]
    stamps = [dt.datetime(2025, 4, 3), dt.datetime(2025, 4, 3, 10, 30)]
    pq.write_table(pa.table({"visit_date": days, "stamp": stamps, "job_no": [1.0, 2.5], "kind": ["W/M", "oven"]}), path)
    _, lines = opened(path, tmp_path, form="parquet")
    assert lines == [(1, ["2025-04-03", "2025-04-03", "1", "W/M"]), (2, [None, "2025-04-03 10:30:00", "2.5", "oven"])]


@pytest.mark.parametrize("name", ["jobs.parquet", "jobs.xlsx", "jobs.json"])
def test_a_truncated_file_says_so(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    start = {"jobs.parquet": b"PAR1", "jobs.xlsx": b"PK\x03\x04", "jobs.json": b'[{"a": 1}, '}[name]
    path.write_bytes(start + bytes(50) if name != "jobs.json" else start)
    with pytest.raises(FileUnreadable, match=name):
        opened(path, tmp_path)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (3.0, "3"), (0.1, "0.1"), (True, "true"), (dt.timedelta(minutes=75), "1:15"), (dt.time(1, 15), "01:15:00"),
        (dt.datetime(2025, 1, 2), "2025-01-02"), (None, None), (["a", None, 2], "a; 2"), (float("nan"), ""),
    ],
)  # fmt: skip
def test_values_are_written_as_a_person_would(value: object, text: str | None) -> None:
    assert as_text(value) == text


# Archives, folders, standard input


def test_gzip_zip_and_folders_hold_the_same_records(tmp_path: Path) -> None:
    content = written([HEADER, *ROWS])
    folder = tmp_path / "exports"
    folder.mkdir()
    with gzip.open(folder / "a.csv.gz", "wb") as out:
        out.write(content)
    with zipfile.ZipFile(folder / "b.zip", "w") as archive:
        archive.writestr("2025/jobs.csv", content)
        archive.writestr("__MACOSX/jobs.csv", b"junk")
        archive.writestr("read-me.pdf", b"junk")
    (folder / ".hidden.csv").write_bytes(b"junk")
    (folder / "notes.doc").write_bytes(b"junk")
    scratch = tmp_path / "scratch"
    scratch.mkdir()
    found = [(s.name, s.sha256) for s in open_sources([folder], scratch)]
    assert [name for name, _ in found] == ["a.csv.gz", "b.zip: jobs.csv"]
    assert len({sha256 for _, sha256 in found}) == 1
    assert list(scratch.iterdir()) == []


def test_standard_input_is_a_file_like_any_other(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(gzip.compress(written([HEADER, *ROWS])))))
    (source,) = list(open_sources(["-"], tmp_path))
    assert (source.name, source.form, source.beside) == ("standard input", "text", None)


def test_bombs_are_refused_before_they_fill_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sources, "FREE_BYTES", 1 << 20)
    with gzip.open(tmp_path / "bomb.csv.gz", "wb") as out:
        for _ in range(20):
            out.write(bytes(1 << 20))
    with zipfile.ZipFile(tmp_path / "bomb.xlsx", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", bytes(20 << 20))
    for name in ("bomb.csv.gz", "bomb.xlsx"):
        with pytest.raises(FileUnreadable, match="beyond what job records can be"):
            next(tables_of([tmp_path / name], tmp_path))


def test_archives_in_archives_end_somewhere(tmp_path: Path) -> None:
    path = tmp_path / "a.gz"
    path.write_bytes(gzip.compress(gzip.compress(gzip.compress(b"a,b\n1,2\n"))))
    with pytest.raises(FileUnreadable, match="archive inside an archive"):
        next(tables_of([path], tmp_path))


def test_a_missing_file_and_an_empty_folder_are_usage_faults(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"none\.csv"):
        next(tables_of([tmp_path / "none.csv"], tmp_path))
    with pytest.raises(UsageError, match="no file of records"):
        next(tables_of([tmp_path], tmp_path))


# Names and headers


def test_names_are_made_comparable_and_unique() -> None:
    assert plain_name(" Job-No.") == "job no"
    assert unique_names(["Date", "Date", None, " a  b "], 5) == ("Date", "Date (2)", "column 3", "a b", "column 5")


def test_a_table_without_names_is_refused_unless_the_layout_says_so() -> None:
    rows = [["2025", "1"], ["2026", "2"]]
    with pytest.raises(FileUnreadable, match="no line of column names"):
        find_header(rows, Reading(), "jobs.csv")
    assert find_header(rows, Reading(header_line=0), "jobs.csv") == -1


# Properties

CELLS = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00\ue000"), max_size=12)


@settings(max_examples=times(10), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(st.tuples(CELLS, CELLS, CELLS), min_size=1, max_size=12),
    delimiter=st.sampled_from(",;\t|"),
    end=st.sampled_from(["\n", "\r\n"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    everything=st.booleans(),
)
def test_what_we_would_print_is_read_back(
    tmp_path: Path, rows: list[tuple[str, ...]], delimiter: str, end: str, encoding: str, everything: bool
) -> None:
    quoting = csv.QUOTE_ALL if everything else csv.QUOTE_MINIMAL
    assume(everything or not any(row[-1].endswith("\r") for row in rows))  # unquoted, it would be part of the line end
    assume(sum(1 <= ord(sign) <= 8 for row in rows for cell in row for sign in cell) <= 8)  # more of them are no text
    content = written(
        [HEADER, *([f"J{i}", *row] for i, row in enumerate(rows))],
        encoding, delimiter=delimiter, lineterminator=end, quoting=quoting,
    )  # fmt: skip
    path = tmp_path / "jobs.csv"
    path.write_bytes(content)
    known = Reading(known_names=KNOWN.known_names, delimiter=delimiter, quote='"')
    records, lines = opened(path, tmp_path, known)
    expected = [[f"J{i}", *(cell or None for cell in row)] for i, row in enumerate(rows)]
    assert [without_blanks(cells) for _, cells in lines] == expected
    assert records.refused == []


def lines_lost(content: str, records: object, lines: list[tuple[int, list[str | None]]]) -> list[str]:
    """Physical lines with something on them that are neither in a record nor refused."""
    covered: set[int] = set()
    for line_no, cells in lines:
        covered |= set(range(line_no, line_no + 1 + sum((cell or "").count("\n") for cell in cells)))
    covered |= {refused.line_no for refused in records.refused}
    physical = content.split("\n")
    return [
        line
        for line_no, line in enumerate(physical, start=1)
        if line_no > 1 and line_no not in covered and line.strip(" \t\r\x0b\x0c,\"\x1c\x1d\x1e\x1f\x85\xa0\u2028\u2029")
        and not line.replace(",", "").replace('"', "").isspace()
    ]  # fmt: skip


@settings(max_examples=times(20), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(body=st.text(st.sampled_from("ab12,,\"\n\r\t ;'\\é"), max_size=120))
def test_no_line_is_lost_whatever_stands_in_it(tmp_path: Path, body: str) -> None:
    content = "visit_date,appliance_kind,job_no,complaint\n" + body
    path = tmp_path / "jobs.csv"
    path.write_bytes(content.encode())
    known = Reading(known_names=KNOWN.known_names, delimiter=",", quote='"')
    records, lines = opened(path, tmp_path, known)
    assert lines_lost(content, records, lines) == []


@settings(max_examples=times(20), deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    start=st.sampled_from(
        [b"", b"PAR1", b"PK\x03\x04", b"\x1f\x8b", b"{", b'[{"', b"\xff\xfe", b"\xd0\xcf\x11\xe0", b"a,b\n"]
    ),
    rest=st.binary(max_size=200),
    end=st.sampled_from([b"", b"PAR1", b"\n"]),
)  # fmt: skip
def test_any_bytes_are_read_or_refused(tmp_path: Path, start: bytes, rest: bytes, end: bytes) -> None:
    path = tmp_path / "any"
    path.write_bytes(start + rest + end)
    try:
        opened(path, tmp_path, Reading())
    except PriorjobsError as told:
        assert told.what
        assert told.remedy

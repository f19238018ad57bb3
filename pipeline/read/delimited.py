"""Delimited text of any delimiter, quote and encoding: in bulk where it is regular, line by line where it is not."""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter, deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import IO, TYPE_CHECKING

import duckdb

from pipeline.errors import FileUnreadable, LayoutError, shown
from pipeline.read.incoming import Line, Reading, Records, Refused, find_header, store, unique_names
from pipeline.read.sources import CHUNK, Source, private_copy

if TYPE_CHECKING:
    from pathlib import Path

SAMPLE_BYTES = 1 << 18
MOST_NAMES = 2_000  # cells of a line that are compared with known column names
SAMPLE_LINES = 400
LONGEST_LINE = 1 << 24  # characters
LONGEST_CELL_LINES = 200  # a cell of more lines is a quote that was opened by mistake
DELIMITERS = (",", ";", "\t", "|")
QUOTES = ('"', "'")
BOMS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
RULE_QUOTE = "a quotation mark opens a cell and is never closed, or is followed by stray text"
REMEDY_QUOTE = "Close the quotation mark, or double it inside a cell, and load the file again."
REMEDY_CELLS = "Put a cell that holds the delimiter in quotation marks, and load the file again."

csv.field_size_limit(LONGEST_LINE)
codecs.register_error("priorjobs_mark", lambda fault: ("\udcff", fault.end))  # type: ignore[attr-defined]
_ANY_LINE_END = re.compile("\r\n|\n|\r")
_UNDECODED = re.compile("[\ud800-\udfff]")


@dataclass(frozen=True)
class Dialect:
    """How cells are told apart."""

    delimiter: str
    quote: str
    escape: str | None


@dataclass(frozen=True)
class Bytes:
    """Counts over the whole file that tell whether it is regular."""

    newlines: int
    returns: int
    pairs: int
    has_nul: bool
    ends_in_newline: bool


def read_text(connection: duckdb.DuckDBPyConnection, source: Source, reading: Reading, scratch: Path) -> Records:
    """Read delimited text; see `pipeline.read.reader.read`.

    Raises
    ------
    FileUnreadable
        Not text, or without a line of column names.
    """
    encoding = find_encoding(source, reading)
    counted = _count(source.path)
    line_end = _line_end(source, encoding)  # of the first line
    with source.path.open(encoding=encoding, errors="priorjobs_mark", newline=line_end) as file:
        sample = _sample(file, source.name)
    dialect = find_dialect(sample, reading, line_end)
    rows = list(_records(iter(sample), dialect, lambda *_: None, line_end))
    at = find_header([cells for _, cells in rows], reading, source.name)
    header_cells = rows[at][1] if at >= 0 else ()
    header_end = rows[at][0] + "".join(header_cells).count(line_end) if at >= 0 else 0
    width = max(_filled(header_cells), _usual_width([cells for _, cells in rows[at + 1 :]]), 1)
    records = Records(unique_names(header_cells, width))
    records.how = {"encoding": encoding, "delimiter": dialect.delimiter, "quote": dialect.quote}
    is_plain = encoding in ("utf-8", "utf-8-sig") and not counted.has_nul and counted.returns in (0, counted.pairs)
    is_plain = is_plain and counted.pairs in (0, counted.newlines) and len(header_cells) in (0, width)
    if is_plain and read_regular(connection, source, scratch, dialect, width, header_end, counted):
        return records
    refuse = _Refusals(records, dialect)
    with source.path.open(encoding=encoding, errors="priorjobs_mark", newline=line_end) as file:
        lines = _records(_physical_lines(file, source.name), dialect, refuse.unreadable, line_end)
        store(connection, width, (line for line in lines if line[0] > header_end), refuse.too_wide)
    records.refused = [r for r in records.refused if r.line_no > header_end]
    return records


def _line_end(source: Source, encoding: str) -> str:
    """Tell what ends a line: a line feed, or in the files of old programs a carriage return alone."""
    with source.path.open(encoding=encoding, errors="priorjobs_mark", newline="") as file:
        start = file.read(SAMPLE_BYTES)
    first = _ANY_LINE_END.search(start)
    return "\r" if first and first[0] == "\r" else "\n"


def _filled(cells: Sequence[str]) -> int:
    return max((i + 1 for i, cell in enumerate(cells) if cell.strip()), default=0)


def _usual_width(rows: list[list[str]]) -> int:
    """Columns that at least half of the lines fill: a column without a name is still a column."""
    widths = sorted(_filled(row) for row in rows)
    return widths[len(widths) // 2] if widths else 0


class _Refusals:
    """Collects refused lines with their reasons."""

    def __init__(self, records: Records, dialect: Dialect) -> None:
        self.records = records
        self.dialect = dialect

    def unreadable(self, line_no: int, text: str, rule: str, remedy: str) -> None:
        self.records.refused.append(Refused(line_no, text, "", text[:200], rule, remedy))

    def too_wide(self, line: Line, rule: str) -> None:
        line_no, cells = line
        text = self.dialect.delimiter.join(cell or "" for cell in cells)
        extra = self.dialect.delimiter.join(cell or "" for cell in cells[len(self.records.header) :])
        self.records.refused.append(Refused(line_no, text, "", extra[:200], rule, REMEDY_CELLS))


def find_encoding(source: Source, reading: Reading) -> str:
    """Tell the encoding: the byte order mark, what the layout states, zero bytes, valid UTF-8, else Windows-1252.

    Raises
    ------
    LayoutError
        The stated encoding is not known, or the file is plainly UTF-8 instead.
    FileUnreadable
        The bytes are not text.
    """
    with source.path.open("rb") as file:
        start = file.read(SAMPLE_BYTES)
    for mark, name in BOMS:
        if start.startswith(mark):
            return name
    if reading.encoding:
        try:
            name = codecs.lookup(reading.encoding).name
            io.TextIOWrapper(io.BytesIO(start), encoding=name, errors="priorjobs_mark").read()
        except (LookupError, ValueError) as fault:
            raise LayoutError(
                f"{shown(reading.encoding)} is not an encoding of this file.",
                'Use one such as "utf-8" or "windows-1252".',
            ) from fault
        if _is_other_than_said(source.path, name):
            raise LayoutError(
                f"{shown(source.name)} is written in UTF-8; its layout says {shown(reading.encoding)}, in which its "
                "letters with marks would come in as others.",
                'Write encoding = "utf-8" in the layout, or leave the line out; nothing of the file was taken.',
            )
        return name
    even, odd = start[0::2].count(0), start[1::2].count(0)
    if even + odd > len(start) / 5:
        if odd > 4 * even:
            return "utf-16-le"
        if even > 4 * odd:
            return "utf-16-be"
    if start.count(0) + sum(start.count(c) for c in range(1, 9)) > max(8, len(start) / 50):
        raise FileUnreadable(
            f"{shown(source.name)} is not text and no other kind of file that is read here.",
            "Export it as CSV, XLSX, ODS, JSON Lines or Parquet.",
        )
    return "utf-8" if _is_utf8(source.path) else "cp1252"


def _is_other_than_said(path: Path, said: str) -> bool:
    """Tell whether bytes said to be in an encoding of one byte a sign are UTF-8 with signs of several bytes."""
    return len("é".encode(said, "replace")) == 1 and _is_mostly_utf8(path)


def _is_utf8(path: Path) -> bool:
    """Tell whether the bytes are UTF-8, or so nearly that single damaged lines are the better explanation."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        with path.open("rb") as file:
            while chunk := file.read(CHUNK):
                decoder.decode(chunk)
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        return _is_mostly_utf8(path)
    return True


def _is_mostly_utf8(path: Path) -> bool:
    """Tell whether most of the lines with other than plain letters are UTF-8."""
    good = bad = 0
    with path.open("rb") as file:
        for line in file:
            if line.isascii():
                continue
            try:
                line.decode()
            except UnicodeDecodeError:
                bad += 1
            else:
                good += 1
    return good > bad


def _count(path: Path) -> Bytes:
    newlines = returns = pairs = 0
    has_nul = False
    last = b""
    with path.open("rb") as file:
        while chunk := file.read(CHUNK):
            newlines += chunk.count(b"\n")
            has_nul = has_nul or b"\0" in chunk
            if b"\r" in chunk or last == b"\r":
                returns += chunk.count(b"\r")
                pairs += chunk.count(b"\r\n") + (last == b"\r" and chunk[:1] == b"\n")
            last = chunk[-1:]
    return Bytes(newlines, returns, pairs, has_nul, last == b"\n")


def _sample(file: IO[str], name: str) -> list[str]:
    lines: list[str] = []
    size = 0
    for line in _physical_lines(file, name):
        lines.append(line)
        size += len(line)
        if len(lines) == SAMPLE_LINES or size > SAMPLE_BYTES:
            break
    return lines


def _physical_lines(file: IO[str], name: str) -> Iterator[str]:
    line_no = 0
    while line := file.readline(LONGEST_LINE):
        line_no += 1
        if len(line) == LONGEST_LINE and line[-1] not in "\r\n":
            raise FileUnreadable(
                f"{shown(name)}, line {line_no}: longer than {LONGEST_LINE:,} characters.",
                "This is not a table of records; export it again.",
            )
        yield line


def find_dialect(sample: list[str], reading: Reading, line_end: str = "\n") -> Dialect:
    """Find the delimiter and quote under which the sample's lines agree best on a number of cells.

    Known column names weigh most: a delimiter that shows them is right whatever stands in the lines below.
    """
    text = "".join(sample)
    escape = "\\" if '\\"' in text and '""' not in text else None
    if reading.delimiter:
        return Dialect(reading.delimiter, reading.quote or _quote(text, reading.delimiter), escape)
    others = Counter(c for c in text[:4096] if not c.isalnum() and not c.isspace() and c not in "\"'.-_/\\()&")
    rare = [c for c, n in others.most_common(6) if c not in DELIMITERS and n >= len(sample[:20]) and ord(c) < 0xD800]
    best, best_score = Dialect(",", reading.quote or '"', escape), (-1.0, -1.0)
    for delimiter in (*DELIMITERS, *rare):
        candidate = Dialect(delimiter, reading.quote or _quote(text, delimiter), escape)
        rows = [cells for _, cells in _records(iter(sample[:SAMPLE_LINES]), candidate, lambda *_: None, line_end)]
        score = _agreement(rows, reading.known_names)
        if score > best_score:
            best, best_score = candidate, score
    return best


def _quote(text: str, delimiter: str) -> str:
    d = re.escape(delimiter)
    found = {q: len(re.findall(rf"(?:^|{d}){q}|{q}(?:$|{d})", text, re.MULTILINE)) for q in QUOTES}
    return "'" if found["'"] > 2 * found['"'] and found["'"] >= 4 else '"'


def _agreement(rows: list[list[str]], known_names: frozenset[str]) -> tuple[float, float]:
    from pipeline.read.incoming import plain_name

    if not rows:
        return (0.0, 0.0)
    widths = Counter(len(row) for row in rows)
    width, count = max(widths.items(), key=lambda item: (item[1] * (item[0] > 1), item[0]))
    known = max(len({plain_name(c) for c in row[:MOST_NAMES]} & known_names) for row in rows[:30])
    return (float(known), (width > 1) * count / len(rows) + min(width, 50) / 1000)


def _read_strictly(
    connection: duckdb.DuckDBPyConnection,
    place: Path,
    columns: dict[str, str],
    dialect: Dialect,
    skip: int,
    new_line: str,
) -> None:
    """Make table ``lines`` of a file as DuckDB reads it; an error where any line is irregular."""
    connection.execute(
        "create or replace temp table lines as select * from read_csv(?, columns = ?, header = false, skip = ?, "
        "delim = ?, quote = ?, escape = ?, auto_detect = false, strict_mode = true, null_padding = false, "
        "compression = 'none', max_line_size = 16777216, new_line = ?)",
        [str(place), columns, skip, dialect.delimiter, dialect.quote, dialect.escape or dialect.quote, new_line],
    )


def read_regular(
    connection: duckdb.DuckDBPyConnection,
    source: Source,
    scratch: Path,
    dialect: Dialect,
    width: int,
    skip: int,
    counted: Bytes,
) -> bool:
    """Read with DuckDB, strictly; say no where any line is irregular or the lines do not add up.

    Rows stand in file order, so their position gives the line number, plus the line ends inside cells before it.
    """
    columns = {f"c{i + 1}": "VARCHAR" for i in range(width)}
    new_line = "\\r\\n" if counted.pairs else "\\n"
    place = private_copy(source, scratch)
    try:
        _read_strictly(connection, place, columns, dialect, skip, new_line)
    except duckdb.Error:
        return False
    finally:
        place.unlink(missing_ok=True)
    held, first, last = connection.execute("select count(*), min(rowid), max(rowid) from lines").fetchall()[0]
    expected = counted.newlines + (not counted.ends_in_newline) - skip
    names = ", ".join(columns)
    if held == 0 or last - first != held - 1:
        return False
    inside = " + ".join(f"coalesce(length({c}) - length(replace({c}, chr(10), '')), 0)" for c in columns)
    is_blank = " and ".join(f"({c} is null or trim({c}) = '')" for c in columns)
    if held == expected:
        connection.execute(
            f"create or replace temp table blank_line as select rowid - {first - skip - 1} as line_no from lines "
            f"where {is_blank}"
        )
        connection.execute(f"delete from lines where {is_blank}")
        connection.execute(
            f"create or replace temp view incoming as select rowid - {first - skip - 1} as line_no, {names} from lines"
        )
        return True
    line_ends = connection.execute(f"select sum({inside}) from lines").fetchall()[0][0]
    if held + line_ends != expected:
        return False
    connection.execute(
        f"create or replace temp table incoming as select rowid - {first - skip - 1} + coalesce(sum({inside}) over "
        f"(order by rowid rows between unbounded preceding and 1 preceding), 0)::bigint as line_no, {names} from lines"
    )
    connection.execute(f"create or replace temp table blank_line as select line_no from incoming where {is_blank}")
    connection.execute(f"delete from incoming where {is_blank}")
    return True


def _records(
    lines: Iterator[str], dialect: Dialect, refuse: Callable[[int, str, str, str], None], line_end: str = "\n"
) -> Iterator[tuple[int, list[str]]]:
    """Yield (number of its first line, cells) of each record that is not blank; a damaged one costs one line only."""
    waiting: deque[str] = deque()
    taken: list[str] = []
    stray = "\n" if line_end == "\r" else "\r"  # inside a line it ends nothing

    def feed() -> Iterator[str]:
        while True:
            line = waiting.popleft() if waiting else next(lines, None)
            if line is None:
                return
            taken.append(line)
            if len(taken) > LONGEST_CELL_LINES:
                raise csv.Error("cell of too many lines")
            body = line.rstrip("\r\n")
            yield body.replace(stray, "\ue000") + line[len(body) :] if stray in body else line

    line_no = 1
    reader = _reader(feed(), dialect)
    while True:
        taken.clear()
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error:
            waiting.extendleft(reversed(taken[1:]))
            del taken[1:]
            mended = _mended(taken[0], dialect)
            reader = _reader(feed(), dialect)
            if mended is None:
                refuse(line_no, _safe(taken[0].rstrip("\r\n")), RULE_QUOTE, REMEDY_QUOTE)
                cells = []
            else:
                cells = mended
        if any(_UNDECODED.search(line) for line in taken):
            refuse(
                line_no,
                _safe("".join(taken).rstrip("\r\n")),
                "holds bytes that are no text in this file's encoding",
                'Name the encoding in the layout file (encoding = "windows-1252"), or fix the line.',
            )
        elif cells:
            if any("\ue000" in cell for cell in cells) and not any("\ue000" in line for line in taken):
                cells = [cell.replace("\ue000", stray) for cell in cells]
            yield line_no, cells
        line_no += len(taken)


def _reader(lines: Iterator[str], dialect: Dialect) -> Iterator[list[str]]:
    return csv.reader(
        lines, delimiter=dialect.delimiter, quotechar=dialect.quote, escapechar=dialect.escape, strict=True
    )


def _mended(line: str, dialect: Dialect) -> list[str] | None:
    """Read a line whose cells hold bare quotation marks: a mark closes a cell only before a delimiter or the end.

    None where the marks do not pair up that way.
    """
    d, q = re.escape(dialect.delimiter), re.escape(dialect.quote)
    cells: list[str] = []
    rest = line.rstrip("\r\n")
    cell = re.compile(rf"(?:{q}(?P<quoted>.*?){q}|(?P<bare>(?!{q})[^{d}]*))(?P<end>{d}|$)")
    at = 0
    while True:
        found = cell.match(rest, at)
        if found is None or len(cells) > 1_000:
            return None
        cells.append(
            found["bare"] if found["quoted"] is None else found["quoted"].replace(dialect.quote * 2, dialect.quote)
        )
        if not found["end"]:
            return cells
        at = found.end()


def _safe(text: str) -> str:
    return _UNDECODED.sub("\N{REPLACEMENT CHARACTER}", text)

"""JSON Lines and Parquet: records that carry their own column names, read as text exactly as written."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Iterator
from typing import IO, TYPE_CHECKING, Any

from pipeline.errors import FileUnreadable, shown
from pipeline.read.incoming import MOST_COLUMNS, Line, Records, Refused, store, unique_names

if TYPE_CHECKING:
    import duckdb
    import pyarrow as pa

    from pipeline.read.sources import Source

LONGEST_LINE = 1 << 24  # bytes
LARGEST_LIST = 256 << 20  # bytes of a file that is one JSON list, which is read whole
MOST_PARQUET_BYTES = 16 << 30
FREE_ROWS = 1_000_000  # a Parquet file of up to so many rows passes
MOST_ROWS_A_BYTE = 4  # of a larger one: rows that all repeat one another
MOST_BATCH_BYTES = 1 << 30  # of 20,000 rows unpacked
RULE = "is not a JSON object"
REMEDY = 'Fix the line: one JSON object a line, such as {"visit_date": "2025-04-03"}.'


def read_json(connection: duckdb.DuckDBPyConnection, source: Source) -> Records:
    """Read JSON Lines, or one JSON list of objects; see `pipeline.read.reader.read`.

    Column names are gathered over the whole file first, in order of appearance; of an object inside an object they are
    paths, such as "asset.type". Numbers stay as written; lists of plain values are joined by "; ", lists of objects are
    kept as JSON.
    """
    names: dict[str, None] = {}
    for _, found, _ in _objects(source):
        if found:
            found = flattened(found)
            names.update(dict.fromkeys(found))
            if len(names) > MOST_COLUMNS:
                unique_names((), len(names))
    if not names:
        raise FileUnreadable(f"{shown(source.name)} holds no JSON object.", REMEDY)
    records = Records(unique_names(tuple(names), len(names)), how={"encoding": "utf-8"})

    def lines() -> Iterator[Line]:
        for line_no, found, text in _objects(source):
            if found is None:
                records.refused.append(Refused(line_no, text, "", text[:200], RULE, REMEDY))
            else:
                flat = flattened(found)
                yield line_no, [as_text(flat.get(name)) for name in names]

    store(connection, len(names), lines(), lambda *_: None)
    return records


def flattened(found: dict[str, Any], before: str = "") -> dict[str, Any]:
    """Give the values of objects inside an object a path for a name.

    Examples
    --------
    >>> flattened({"id": 7, "asset": {"type": "w/m", "age": {"years": 3}}})
    {'id': 7, 'asset.type': 'w/m', 'asset.age.years': 3}
    """
    flat: dict[str, Any] = {}
    for name, value in found.items():
        if isinstance(value, dict) and value:
            flat |= flattened(value, f"{before}{name}.")
        else:
            flat[f"{before}{name}"] = value
    return flat


def _objects(source: Source) -> Iterator[tuple[int, dict[str, Any] | None, str]]:
    with source.path.open("rb") as file:
        start = file.read(64).removeprefix(b"\xef\xbb\xbf").lstrip()
        file.seek(0)
        if start.startswith(b"["):
            yield from _listed(file, source)
            return
        line_no = 0
        while line := file.readline(LONGEST_LINE):
            line_no += 1
            if len(line) == LONGEST_LINE:
                raise FileUnreadable(
                    f"{shown(source.name)}, line {line_no}: longer than {LONGEST_LINE:,} bytes.", REMEDY
                )
            if line_no == 1:
                line = line.removeprefix(b"\xef\xbb\xbf")
            if line.strip():
                yield line_no, _object(line), _shown_text(line.strip().decode("utf-8", "replace"))


def _listed(file: IO[bytes], source: Source) -> Iterator[tuple[int, dict[str, Any] | None, str]]:
    if source.size > LARGEST_LIST:
        raise FileUnreadable(
            f"{shown(source.name)} is one JSON list of {source.size >> 20:,} MB.",
            "Export it as JSON Lines: one object a line.",
        )
    try:
        found = _loads(file.read())
    except (ValueError, RecursionError) as fault:
        raise FileUnreadable(f"{shown(source.name)} is not JSON: {shown(fault, 100)}", "Export it again.") from fault
    if not isinstance(found, list):
        raise FileUnreadable(f"{shown(source.name)} is not a JSON list of objects.", REMEDY)
    for i, one in enumerate(found, start=1):
        yield i, one if isinstance(one, dict) else None, _shown_text(json.dumps(one, ensure_ascii=False, default=str))


def _object(line: bytes) -> dict[str, Any] | None:
    try:
        found = _loads(line)
    except (ValueError, RecursionError):
        return None
    return found if isinstance(found, dict) else None


def _loads(text: bytes) -> Any:
    return json.loads(text.decode("utf-8-sig"), parse_float=str, parse_int=str, parse_constant=str)


def _shown_text(text: str) -> str:
    return text.encode("utf-8", "replace").decode()


def as_text(value: Any) -> str | None:
    """Write a value as the text a person would have typed: days as ISO, whole numbers without ".0", yes as "true".

    Examples
    --------
    >>> as_text(3.0), as_text(["drain pump", "seal"])
    ('3', 'drain pump; seal')
    """
    if value is None:
        return None
    if isinstance(value, str):
        return _shown_text(value)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else "" if value != value else repr(value)
    if isinstance(value, dt.datetime):
        is_day = value.time() == dt.time()
        return value.date().isoformat() if is_day else value.isoformat(sep=" ", timespec="seconds")
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if isinstance(value, dt.timedelta):
        minutes, seconds = divmod(round(value.total_seconds()), 60)
        return f"{minutes // 60}:{minutes % 60:02d}" + (f":{seconds:02d}" if seconds else "")
    if isinstance(value, bytes):
        return value.decode("utf-8", "replace")
    if isinstance(value, list) and not any(isinstance(one, dict | list) for one in value):
        return "; ".join(text for one in value if (text := as_text(one)))
    if isinstance(value, dict | list):
        return _shown_text(json.dumps(value, ensure_ascii=False, default=str))
    return str(value)


def read_parquet(connection: duckdb.DuckDBPyConnection, source: Source) -> Records:
    """Read Parquet a row group at a time; see `pipeline.read.reader.read`. The first row counts as line 1."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    try:
        with pq.ParquetFile(source.path, read_dictionary=_texts(source)) as file:
            unpacked = sum(file.metadata.row_group(i).total_byte_size for i in range(file.metadata.num_row_groups))
            if unpacked > MOST_PARQUET_BYTES:
                raise FileUnreadable(f"{shown(source.name)} unpacks to {unpacked >> 30:,} GB.", "Split it.")
            if file.metadata.num_rows > max(FREE_ROWS, MOST_ROWS_A_BYTE * source.size):
                raise FileUnreadable(
                    f"{shown(source.name)} claims {file.metadata.num_rows:,} rows in {source.size:,} bytes.",
                    "No two job records are the same; if it is genuine, export it as CSV.",
                )
            header = tuple(file.schema_arrow.names)
            records = Records(unique_names(header, len(header)))

            def lines() -> Iterator[Line]:
                line_no = 0
                for batch in file.iter_batches(batch_size=20_000):
                    if _unpacked_bytes(batch) > MOST_BATCH_BYTES:
                        raise FileUnreadable(f"{shown(source.name)} has cells of many megabytes.", "Leave them out.")
                    for row in zip(*(column.to_pylist() for column in batch.columns), strict=True):
                        line_no += 1
                        yield line_no, [as_text(value) for value in row]

            store(connection, len(header), lines(), lambda *_: None)
    except (pa.ArrowException, OSError, ValueError, OverflowError) as fault:
        raise FileUnreadable(
            f"{shown(source.name)} is not a whole Parquet file: {shown(fault, 100)}", "Export it again."
        ) from fault
    return records


def _texts(source: Source) -> list[str]:
    """Columns of plain text, which stay packed until they have been weighed."""
    import pyarrow.parquet as pq

    schema = pq.read_schema(source.path)
    return [field.name for field in schema if str(field.type) in ("string", "large_string", "binary", "large_binary")]


def _unpacked_bytes(batch: pa.RecordBatch) -> int:
    """Bytes of a batch once every repeated text is written out."""
    import pyarrow as pa
    import pyarrow.compute as pc

    total = 0
    for column in batch.columns:
        if isinstance(column, pa.DictionaryArray) and len(column.dictionary):
            total += pc.sum(pc.binary_length(column.dictionary).take(column.indices)).as_py() or 0
        else:
            total += column.nbytes
    return int(total)
